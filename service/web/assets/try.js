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

// The place of a JSON pointer in the text: the last of its names, searched one after the other.
function mark(pointer) {
  let from = 0;
  let length = 0;
  for (const part of pointer.split("/").slice(1)) {
    const found = /^\d+$/.test(part) ? -1 : field.value.indexOf(`"${part}"`, from);
    if (found >= 0) [from, length] = [found, part.length + 2];
  }
  field.focus();
  field.setSelectionRange(from, from + length);
}

function table(kind, nodes) {
  const details = make("details");
  make("summary", `${kind.replaceAll("_", " ")} (${nodes.length})`, details);
  const scroll = make("div", undefined, details);
  scroll.className = "scroll";
  scroll.tabIndex = 0;
  const rows = make("table", undefined, scroll);
  const head = make("tr", undefined, make("thead", undefined, rows));
  for (const name of ["What", "Value", "Detail", "Came from"]) make("th", name, head).scope = "col";
  const body = make("tbody", undefined, rows);
  for (const node of nodes) {
    const row = make("tr", undefined, body);
    make("td", node.id, row);
    make("td", node.value === null ? "" : `${node.value} ${node.unit}`.trim(), row);
    make("td", node.detail, row);
    make("td", [...node.inputs, ...node.sources].join(", "), row);
  }
  return details;
}

function show(answer) {
  at("result").hidden = false;
  at("plan").plan = answer;
  const kinds = Map.groupBy
    ? Map.groupBy(answer.trace, (node) => node.kind)
    : answer.trace.reduce((map, n) => map.set(n.kind, [...(map.get(n.kind) ?? []), n]), new Map());
  at("trace").replaceChildren(...[...kinds].map(([kind, nodes]) => table(kind, nodes)));
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
    if (response.ok) show(said);
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
at("example").addEventListener("change", take);
