// <movewright-plan>: an answer of POST /v1/plan as a page shows it. No dependency, nothing inline.
const WORDS = {
  en: {
    again: (weeks) => `In about ${weeks} weeks, look at the same again.`,
    both: "both sides", cautions: "Keep to this today", days: (n) => n === 1 ? "once a week" :
      `${n} days a week`, good: "Good:", left: "left",
    look: "Look at this first", none: "", now: { before_training: "Before training.",
      emergency: "Now, as an emergency.", same_day: "Today.", soon: "Soon." },
    picture: "Picture of", refer: "See a licensed professional",
    reps: (n) => n === 1 ? "1 repetition" : `${n} repetitions`,
    reserve: (n) => `stop with ${n} in reserve`,
    tempo: (t) => `${t.lower_s} s down, ${t.pause_s ? `${t.pause_s} s pause, ` : ""}${t.lift_s} s up`,
    rest: "rest", retest: "See whether it worked", right: "right", say: "Say:", set: "set",
    sets: "sets", hold: "held", stop: "End the set:", then: "After the drills", why: "Why",
    likely: "What is likely", belief: (part) => `belief ${part}`,
  },
  de: {
    again: (weeks) => `In etwa ${weeks} Wochen dasselbe noch einmal ansehen.`,
    both: "beide Seiten", cautions: "Heute beachten", days: (n) => n === 1 ? "einmal in der Woche" :
      `an ${n} Tagen in der Woche`, good: "Gut so:", left: "links",
    look: "Zuerst ansehen", none: "", now: { before_training: "Vor dem Training.",
      emergency: "Sofort, als Notfall.", same_day: "Heute noch.", soon: "Bald." },
    picture: "Bild:", refer: "In fachliche Hände",
    reps: (n) => n === 1 ? "1 Wiederholung" : `${n} Wiederholungen`,
    reserve: (n) => `${n} in Reserve lassen`,
    tempo: (t) => `${t.lower_s} s ab, ${t.pause_s ? `${t.pause_s} s halten, ` : ""}${t.lift_s} s auf`,
    rest: "Pause", retest: "Sehen, ob es gewirkt hat", right: "rechts", say: "Sagen:", set: "Satz",
    sets: "Sätze", hold: "gehalten", stop: "Satz beenden:", then: "Nach den Übungen", why: "Warum",
    likely: "Was wahrscheinlich ist", belief: (part) => `zu ${part}`,
  },
};

const SHEET = new CSSStyleSheet();
SHEET.replaceSync(`
:host{display:block;color-scheme:light dark;
--ink:var(--movewright-ink,light-dark(#161616,#f1f1ee));
--paper:var(--movewright-paper,light-dark(#fff,#161616));
--line:var(--movewright-line,light-dark(#767676,#9a9a9a));
color:var(--ink);background:var(--paper);font:inherit;line-height:1.45;overflow-wrap:anywhere}
:host([hidden]){display:none}
p,ul,ol{margin:.3em 0}
ul{padding-left:1.2em}
h3{font-size:1.05em;line-height:1.3;margin:.8em 0 .2em}
.limit{border:2px solid;border-left-width:8px;padding:.1em .8em .4em;margin:.6em 0}
.steps{list-style:none;padding:0}
.steps>li{display:flex;flex-wrap:wrap;gap:0 1.2em;border-top:1px solid var(--line);padding:.5em 0}
.steps img{width:11em;height:8em;object-fit:contain;background:#fff;border-radius:6px}
.steps div{flex:1 1 16em;min-width:0}
.steps h3{margin-top:0}
summary{cursor:pointer;padding:.5em 0}
small{font-size:.87em}
`);

function put(within, name, text, part) {
  const element = document.createElement(name);
  if (text) element.textContent = text;
  if (part) element.className = part;
  within.append(element);
  return element;
}

export class MovewrightPlan extends HTMLElement {
  static observedAttributes = ["src", "pictures", "lang"];
  #plan = null;
  #asked = 0;

  constructor() {
    super();
    this.attachShadow({ mode: "open" }).adoptedStyleSheets = [SHEET];
  }

  connectedCallback() {
    const inside = this.querySelector('script[type="application/json"]');
    if (!this.#plan && inside) this.#plan = JSON.parse(inside.textContent);
    this.#show();
  }

  attributeChangedCallback(name, _, value) {
    if (name === "src" && value !== null) this.#fetch(value);
    else this.#show();
  }

  get plan() {
    return this.#plan;
  }

  set plan(answer) {
    this.#asked += 1; // an answer still under way no longer counts
    this.#plan = answer;
    this.#show();
  }

  async #fetch(src) {
    const mine = ++this.#asked;
    try {
      const response = await fetch(src, { headers: { Accept: "application/json" } });
      if (!response.ok) throw new Error(`status ${response.status}`);
      const answer = await response.json();
      if (mine === this.#asked) this.plan = answer;
    } catch (error) {
      if (mine === this.#asked)
        this.dispatchEvent(new CustomEvent("movewright-fault", { bubbles: true, detail: error }));
    }
  }

  get #words() {
    const language = this.closest("[lang]")?.lang.split("-")[0].toLowerCase();
    return WORDS[language] ?? WORDS.en;
  }

  get #origin() {
    return this.getAttribute("pictures") ?? new URL(import.meta.url).origin;
  }

  #show() {
    if (!this.isConnected) return;
    const all = document.createDocumentFragment();
    if (this.#plan) this.#draw(all, this.#plan, this.#words);
    this.shadowRoot.replaceChildren(all);
  }

  #draw(all, plan, words) {
    this.#list(all, words.refer, plan.referrals.map((o) => `${o.text} ${words.now[o.urgency]}`), "limit");
    this.#list(all, words.cautions, plan.cautions.map((one) => one.text), "limit");
    put(all, "p", plan.summary);
    this.#list(all, words.look, plan.look_at.map((one) => one.text));
    if (plan.session) {
      const steps = put(all, "ol", "", "steps");
      steps.setAttribute("role", "list");
      plan.session.steps.forEach((step, n) => this.#step(steps, step, n + 1, words));
    }
    this.#list(all, words.then, plan.carry_over);
    this.#list(all, words.retest, this.#retests(plan.retest, words));
    this.#causes(all, plan.causes, words);
  }

  #list(all, title, texts, part) {
    if (!texts.length) return;
    const block = put(all, "section", "", part);
    put(block, "h3", title);
    const list = put(block, "ul");
    for (const text of texts) put(list, "li", text);
  }

  // What is looked at today is not said again where the same is looked at in some weeks.
  #retests(retests, words) {
    const key = (one) => `${one.movement} ${one.view} ${one.finding} ${one.side}`;
    const today = new Set(retests.filter((one) => one.finding && !one.weeks).map(key));
    const same = (one) => one.finding && one.weeks && today.has(key(one));
    const weeks = new Set(retests.filter(same).map((one) => one.weeks));
    return [...retests.filter((one) => !same(one)).map((one) => one.text),
      ...[...weeks].map(words.again)];
  }

  #step(steps, step, number, words) {
    const item = put(steps, "li");
    if (this.#origin) this.#picture(item, step, words);
    const told = put(item, "div");
    put(told, "h3", `${number}. ${step.name}`);
    const sides = step.sides.map((one) =>
      `${one.sets} ${one.sets === 1 ? words.set : words.sets} ${words[one.side]}`.trim());
    const dose = [sides.join(", ")];
    if (step.reps !== null) dose.push(words.reps(step.reps));
    if (step.hold_s !== null) dose.push(`${step.hold_s} s ${words.hold}`);
    if (step.tempo !== null) dose.push(words.tempo(step.tempo));
    if (step.effort) dose.push(words.reserve(step.effort));
    if (step.rest_s) dose.push(`${words.rest} ${step.rest_s} s`);
    dose.push(words.days(step.times_a_week));
    put(told, "p", `${dose.join("; ")}.`);
    for (const [name, text] of [[words.say, step.cues.join(" ")],
      [words.good, step.good_looks_like], [words.stop, step.stop_when]]) {
      if (!text) continue;
      const line = put(told, "p");
      put(line, "b", name);
      line.append(` ${text}`);
    }
  }

  #picture(item, step, words) {
    const side = step.sides[0]?.side;
    const asked = side === "left" || side === "right" ? `?side=${side}` : "";
    const image = put(item, "img");
    image.alt = `${words.picture} ${step.name}`;
    image.onerror = () => image.remove(); // a drill without a picture shows none
    image.src = `${this.#origin}/v1/catalog/drills/${encodeURIComponent(step.drill)}/picture.svg${asked}`;
  }

  #causes(all, causes, words) {
    if (!causes.length) return;
    const details = put(all, "details");
    put(details, "summary", words.likely);
    const list = put(details, "ol");
    for (const cause of causes) {
      const item = put(list, "li");
      const side = words[cause.side] ? ` (${words[cause.side]})` : "";
      const part = `${Math.min(99, Math.max(1, Math.round(cause.belief * 100)))} %`;
      put(item, "p", `${cause.name}${side}, ${words.belief(part)}.`);
      const why = put(item, "ul");
      for (const reason of cause.because.slice(0, 3)) put(why, "li", reason.text);
    }
  }
}

customElements.define("movewright-plan", MovewrightPlan);
