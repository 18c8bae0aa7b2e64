// The playground: takes an example, runs what stands in the field, shows plan and trace.
const at = (id) => document.getElementById(id);
const field = at("screen");

function make(name, text, within) {
  const element = document.createElement(name);
  if (text !== undefined) element.textContent = text;
  within?.append(element);
  return element;
}

function headers() {
  const key = at("key").value.trim();
  return key ? { Authorization: `Bearer ${key}` } : {};
}

function fault(text) {
  at("fault").textContent = text;
  field.setAttribute("aria-invalid", text ? "true" : "false");
  if (text) at("result").hidden = true;
}

function told(problem) {
  const places = problem.errors.map((one) => `At ${one.pointer || "the top"}: ${one.detail}.`);
  return [`${problem.title}. ${problem.detail}`, ...places].join("\n");
}

// Start and end of what a JSON pointer names in a text, or of the nearest that is around it.
function placed(text, pointer) {
  const wanted = pointer.split("/").slice(1)
    .map((part) => part.replaceAll("~1", "/").replaceAll("~0", "~"));
  const path = []; // of each list or object around: the number or name now read, null before it
  let key = "";
  let best = [0, 0];
  for (const { 0: token, index } of text.matchAll(/"(?:\\.|[^"\\])*"|[[\]{},:]|[^\s[\]{},:"]+/g)) {
    const last = path.length - 1;
    if (token === "," && typeof path[last] === "number") path[last] += 1;
    else if (token === ",") path[last] = null;
    else if (token === ":") path[last] = JSON.parse(key);
    else if (token === "]" || token === "}") path.pop();
    else if (path[last] === null) key = token;
    else {
      if (path.length <= wanted.length && path.every((part, n) => `${part}` === wanted[n]))
        best = [index, index + token.length];
      if (token === "[") path.push(0);
      if (token === "{") path.push(null);
    }
  }
  return best;
}

function mark(pointer) {
  field.focus();
  field.setSelectionRange(...placed(field.value, pointer));
}

const KINDS = {
  prior: "How common a cause is before anything was seen.",
  likelihood: "What one observation or measurement says for or against a cause.",
  posterior: "How likely each cause is after everything that was seen.",
  share: "Which part of what was seen a cause accounts for.",
  weight: "How much a cause matters for the target.",
  term: "What one drill adds to the session.",
  score: "What a whole session is worth; the best was taken.",
  constraint: "Limits that every session had to keep.",
  rule: "Rules of the pack that were applied.",
  left_out: "Drills that were not taken, and why.",
};
const row = (id) => `trace-${id}`;

// Leads to the row of another number, and opens the kind it stands under.
function toRow(id, within) {
  const link = make("a", id, within);
  link.href = `#${encodeURIComponent(row(id))}`;
  link.addEventListener("click", () => {
    at(row(id)).closest("details").open = true;
  });
}

function toSource(id, within) {
  make("a", id, within).href = `/v1/catalog/sources/${encodeURIComponent(id)}`;
}

function joined(within, items, write, known) {
  for (const one of items) {
    if (within.hasChildNodes()) within.append(", ");
    if (known(one)) write(one, within);
    else within.append(one);
  }
}

function table(kind, nodes, ids) {
  const details = make("details");
  make("summary", `${kind.replaceAll("_", " ")} (${nodes.length})`, details);
  make("p", KINDS[kind] ?? "", details);
  const scroll = make("div", undefined, details);
  scroll.className = "scroll";
  scroll.tabIndex = 0;
  scroll.setAttribute("role", "region");
  scroll.setAttribute("aria-label", kind.replaceAll("_", " "));
  const rows = make("table", undefined, scroll);
  const has = {
    Value: nodes.some((node) => node.value !== null),
    Detail: nodes.some((node) => node.detail),
    "Came from": nodes.some((node) => node.inputs.length),
    Sources: nodes.some((node) => node.sources.length),
  };
  const head = make("tr", undefined, make("thead", undefined, rows));
  for (const name of ["What", ...Object.keys(has).filter((name) => has[name])])
    make("th", name, head).scope = "col";
  const body = make("tbody", undefined, rows);
  for (const node of nodes) {
    const line = make("tr", undefined, body);
    line.id = row(node.id);
    line.tabIndex = -1;
    make("td", node.id, line);
    if (has.Value) make("td", node.value === null ? "" : `${node.value} ${node.unit}`.trim(), line);
    if (has.Detail) make("td", node.detail, line);
    if (has["Came from"])
      joined(make("td", undefined, line), node.inputs, toRow, (id) => ids.has(id));
    if (has.Sources) joined(make("td", undefined, line), node.sources, toSource, () => true);
  }
  return details;
}

function show(answer, language) {
  at("result").hidden = false;
  at("plan").lang = language;
  at("plan").plan = answer;
  const ids = new Set(answer.trace.map((node) => node.id));
  const kinds = new Map();
  for (const node of answer.trace) kinds.set(node.kind, [...(kinds.get(node.kind) ?? []), node]);
  at("trace").replaceChildren(...[...kinds].map(([kind, nodes]) => table(kind, nodes, ids)));
  at("raw").textContent = JSON.stringify(answer, null, 2);
}

async function run(event) {
  event.preventDefault();
  fault("");
  let screen;
  try {
    screen = JSON.parse(field.value);
  } catch (error) {
    fault(`This is not JSON: ${error.message}.`);
    field.focus();
    return;
  }
  if (screen !== null && typeof screen === "object" && !Array.isArray(screen))
    screen.options = { ...screen.options, explain: "full" };
  at("state").textContent = "Deciding …";
  try {
    const response = await fetch("/v1/plan", {
      method: "POST",
      headers: { ...headers(), Accept: "application/json", "Content-Type": "application/json" },
      body: JSON.stringify(screen),
    });
    const said = await response.json();
    at("state").textContent = response.ok ? "Done." : "";
    if (response.ok) show(said, response.headers.get("content-language") ?? "en");
    else {
      fault(told(said));
      mark(said.errors[0]?.pointer ?? "");
    }
  } catch {
    at("state").textContent = "";
    fault("The service did not answer. Run it again.");
  }
}

async function take() {
  fault("");
  const response = await fetch(`/v1/examples/${at("example").value}`, { headers: headers() });
  const text = await response.text();
  if (response.ok) field.value = text;
  else fault(told(JSON.parse(text)));
}

at("run").addEventListener("submit", run);
field.addEventListener("keydown", (event) => {
  if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) run(event);
});
at("example").addEventListener("change", take);
