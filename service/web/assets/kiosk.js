// Makes the touch page pleasant: pages change without a reload, and an idle one is cleared.
// The page works without it. Nothing is stored, and nothing is asked of any other place.

let idle = 0;

const only = (selector) => document.querySelector(selector);

function restart() {
  location.replace(document.body.dataset.path);
}

function warn() {
  const dialog = only("dialog");
  dialog.showModal();
  idle = setTimeout(restart, 1000 * Number(document.body.dataset.warn));
}

function watch() {
  clearTimeout(idle);
  idle = setTimeout(warn, 1000 * Number(document.body.dataset.idle));
}

function ready() {
  for (const button of document.querySelectorAll(".print")) button.hidden = false;
  // a late word of a dialog that is open again must not undo its warning
  only("dialog").addEventListener("close", () => only("dialog").open || watch());
  // a first page holds nothing until it is touched, and may stand there all day
  if (!("fresh" in document.body.dataset)) watch();
}

function show(page) {
  document.documentElement.lang = page.documentElement.lang;
  document.title = page.title;
  document.body.replaceWith(document.adoptNode(page.body));
  const wrong = only(".group .wrong");
  const field = wrong && wrong.closest(".group").querySelector("input, select");
  scrollTo(0, 0);
  (field || only("h1")).focus();
  ready();
}

function tell(what) {
  only("[role=status]").textContent = only("[data-busy]").dataset[what];
}

async function send(form, button) {
  const body = new URLSearchParams(new FormData(form, button));
  try {
    const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "text/html" } });
    if (!answer.ok) return tell(answer.status === 503 || answer.status === 429 ? "busy" : "away");
    return show(new DOMParser().parseFromString(await answer.text(), "text/html"));
  } catch {
    return tell("away");
  } finally {
    for (const one of document.querySelectorAll("[aria-busy]")) one.removeAttribute("aria-busy");
  }
}

document.addEventListener("submit", (event) => {
  event.preventDefault();
  if (only("main").hasAttribute("aria-busy")) return;
  only("main").setAttribute("aria-busy", "true");
  only("[role=status]").textContent = "";
  send(event.target, event.submitter);
});

document.addEventListener("change", ({ target }) => {
  if (target.type !== "checkbox" || !target.checked) return;
  for (const other of target.form.elements) {
    if (other.name !== target.name) continue;
    const clash = "none" in target.dataset ? other !== target : "none" in other.dataset;
    if (clash) other.checked = false;
  }
});

document.addEventListener("click", ({ target }) => {
  if (target.closest(".print")) print();
  if (!target.closest(".stay")) return;
  only("dialog").close();
  watch();
});

for (const sign of ["input", "keydown", "pointerdown", "scroll"]) {
  document.addEventListener(sign, () => only("dialog").open || watch(), { passive: true });
}

addEventListener("pageshow", (event) => event.persisted && restart());

ready();
