// Lists, finds, plays and rules. A ruling is written before this page says so.
const cards = one("#cards");
let show = document.body.dataset.first;
let asking = null;
let written = [];
let round = 0;
let asks = 0;

const LEAD = {
  left: "Trees of a roster that nobody measured who worked by it.",
  twice: "Readings of one stem by two recorders, 60 days apart at most, that disagree and are not ruled on.",
  flagged: "Readings that were saved with a warning, and that nobody has ruled on.",
  growth: document.body.dataset.growth,
  notes: "What was noted, typed or spoken.",
  ruled: "Readings with a ruling. Withdraw it, and it is as if nobody had ruled; the journal keeps both.",
  all: "Every reading that stands.",
  gone: "Every reading ever saved, superseded and undone ones too.",
  states: "Whether each journal holds, up to where it is sealed, and what sound was removed by whose order.",
};

function tell(text, fault = true) {
  one("#told").textContent = text;
  one("#told").classList.toggle("fault", fault);
  one("#back").hidden = fault || !written.length;
}

async function ask(address, body) {
  const how = body === undefined ? {} : {method: "POST", body: JSON.stringify(body),
    headers: {"Content-Type": "application/json"}};
  let answer;
  try {
    answer = await fetch(address, how);
  } catch {
    throw new Error("callout office does not answer: was it left? Nothing was written.");
  }
  const told = await answer.json();
  if (!answer.ok) throw Object.assign(new Error(told.error), {status: answer.status});
  return told;
}

const figure = (told) => typeof told === "number" ? told.toLocaleString("en") : told ?? "…";

// What is still being judged or verified is asked for again.
async function counts() {
  const mine = ++asks;
  const told = await ask("counts");
  if (mine !== asks) return;
  for (const button of document.querySelectorAll(".list")) {
    const count = one(".count", button);
    const figures = figure(told[button.dataset.show]);
    const changed = count.textContent && count.textContent !== figures;
    count.textContent = figures;
    button.classList.toggle("alarm", figures.includes("BROKEN"));
    if (changed && button.dataset.show === show && !one("#ruling").open) safely(list());
  }
  if (told.running) setTimeout(() => safely(counts()), 1500);
}

const inHand = () => [...cards.children].indexOf(document.activeElement?.closest?.(".card"));

async function list(start = 0) {
  const mine = ++round;
  const query = new URLSearchParams({show, find: one("#find").value, plot: one("#plot").value, from: start});
  const told = await ask(`list?${query}`);
  if (mine !== round) return;
  const at = inHand();
  if (!start) cards.replaceChildren();
  cards.insertAdjacentHTML("beforeend", told.html);
  if (!start && at >= 0) cards.children[Math.min(at, cards.children.length - 1)]?.focus();
  one("#verify").hidden = show !== "states";
  one("#more").hidden = !told.next;
  one("#more").dataset.from = told.next;
  const title = one(`.list[data-show=${show}]`).firstChild.textContent.trim();
  one("#heading").textContent = `${title}: ${figure(told.count)}`;
  const found = one("#find").value || one("#plot").value;
  one("#lead").textContent = LEAD[show] + (told.count === 0 ? found ? " Nothing was found." : " There is none." : "");
}

async function safely(work) {
  try { await work; } catch (error) { tell(error.message); }
}

function choose(name) {
  show = name;
  for (const button of document.querySelectorAll(".list"))
    button.setAttribute("aria-pressed", button.dataset.show === name);
  location.hash = name;
  return safely(list());
}

// ---- rulings ----

const named = (part, verdict) => ({name: part.dataset.name, seen: part.dataset.seen, verdict, value: null});

function openRuling(card, rulings, told, unit = "") {
  asking = {rulings, at: [...cards.children].indexOf(card)};
  one("#asked").textContent = told;
  one("#value-label").hidden = !unit;
  one("#unit").textContent = unit;
  one("#accept-label").hidden = true;
  one("#accept").checked = false;
  for (const field of ["#value", "#reason"]) one(field).value = "";
  one("#fault").textContent = "";
  one("#ruling").showModal();
  one(!one("#who").value.trim() ? "#who" : unit ? "#value" : "#reason").focus();
}

function ofPair(card, choice) {
  const [left, right] = card.querySelectorAll("section");
  const stays = {1: [true, false], 2: [false, true], both: [true, true], none: [false, false]}[choice];
  const rulings = [left, right].map((part, at) => named(part, stays[at] ? "stands" : "void"));
  const told = one(`[data-choice="${choice}"]`, card).dataset.words;
  openRuling(card, rulings, `${one("h3", card).textContent}: ${told}`);
}

function ofOne(card, verdict) {
  const button = one(`[data-verdict=${verdict}]`, card);
  if (!button) return;
  const unit = verdict === "amended" ? button.dataset.unit : "";
  openRuling(card, [named(card, verdict)], button.getAttribute("aria-label"), unit);
}

function takeBack() {
  if (one("#back").hidden) return;
  const rulings = written.map((item) => ({...item, verdict: "withdrawn", value: null}));
  openRuling(null, rulings, `Taken back: ${one("#told").textContent}`);
}

async function write() {
  const fault = (text, field) => {
    one("#fault").textContent = text;
    if (field) one(field).focus();
  };
  const who = one("#who").value.trim();
  if (!who) return fault("Say who rules: your name or initials.", "#who");
  const [first] = asking.rulings;
  if (first.verdict === "amended") {
    first.value = one("#value").value.trim();
    if (!/^\d+(\.\d+)?$/.test(first.value)) return fault("Say what it is amended to, as 24.6.", "#value");
  }
  const reason = one("#reason").value.trim();
  if (!reason) return fault("Give a reason.", "#reason");
  one("#write").disabled = true;
  try {
    const told = await ask("rule", {rulings: asking.rulings, reason, who,
      accept: one("#accept").checked});
    one("#ruling").close();
    written = first.verdict === "withdrawn" ? [] : told.written;
    tell(`Written: ${told.told}`, false);
    const at = Math.max(0, asking.at);
    await Promise.all([counts(), list()]);
    (cards.children[Math.min(at, cards.children.length - 1)] ?? one("#heading")).focus();
  } catch (error) {
    if (error.status === 409) {
      one("#ruling").close();
      tell(error.message);
      await safely(list());
    } else {
      one("#accept-label").hidden = !error.message.includes("--accept");
      fault(error.message.replace(": add --accept to take it all the same", ""));
    }
  } finally {
    one("#write").disabled = false;
  }
}

// ---- hands and keys ----

async function step(by) {
  const at = inHand() + by;
  if (at >= cards.children.length && !one("#more").hidden) await more();
  const next = cards.children[Math.max(0, at)];
  next?.focus();
  next?.scrollIntoView({block: "nearest"});
}

const more = () => safely(list(Number(one("#more").dataset.from)));

function stepList(by) {
  const lists = [...document.querySelectorAll(".list")];
  const at = lists.findIndex((button) => button.dataset.show === show) + by;
  const next = lists[(at + lists.length) % lists.length];
  next.focus();
  choose(next.dataset.show);
}

const KEYS = {s: "stands", a: "amended", v: "void", w: "withdrawn"};
const CHOICES = {1: "1", 2: "2", b: "both", v: "none"};
const ANYWHERE = {
  j: () => step(1), k: () => step(-1), l: (event) => stepList(event.shiftKey ? -1 : 1), u: takeBack,
  "/": () => one("#find").focus(), "?": () => { one("#keys").open = !one("#keys").open; one("#keys summary").focus(); },
};

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || one("#ruling").open) return;
  if (event.target.matches("input, select, textarea")) {
    if (event.key === "Escape" || (event.key === "Enter" && event.target.matches("#find"))) fromFinding(event);
    return;
  }
  const key = event.key.toLowerCase();
  const card = event.target.closest(".card");
  if (ANYWHERE[key]) ANYWHERE[key](event);
  else if (!card) return;
  else if (key === "p") {
    const button = card.querySelectorAll(".play")[event.shiftKey ? 1 : 0];
    if (button) play(button);
  } else if (card.matches(".pair") && CHOICES[key]) ofPair(card, CHOICES[key]);
  else if (!card.matches(".pair") && KEYS[key]) ofOne(card, KEYS[key]);
  else return;
  event.preventDefault();
});

// Enter in "Find" goes to what was found, Escape to the cards as they are.
async function fromFinding(event) {
  event.preventDefault();
  clearTimeout(typing);
  one("#heading").focus();  // the next key is no letter to be found
  if (event.key === "Enter") await safely(list());
  if (document.activeElement === one("#heading")) cards.children[0]?.focus();
}

cards.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.matches(".play")) play(button);
  if (button.matches(".choose")) ofPair(button.closest(".card"), button.dataset.choice);
  if (button.matches(".rule")) ofOne(button.closest(".card"), button.dataset.verdict);
});
one("nav").addEventListener("click", (event) => {
  const button = event.target.closest(".list");
  if (button) choose(button.dataset.show);
});
let typing = 0;
one("#filter").addEventListener("input", (event) => {
  clearTimeout(typing);
  typing = setTimeout(() => safely(list()), 120);
});
one("#filter").addEventListener("submit", (event) => event.preventDefault());
one("#more").addEventListener("click", more);
one("#verify").addEventListener("click", () => safely(ask("verify", {}).then(counts)));
one("#back").addEventListener("click", takeBack);
one("#ruling form").addEventListener("submit", (event) => { event.preventDefault(); write(); });
one("#leave").addEventListener("click", () => one("#ruling").close());
one("#ruling").addEventListener("close", () => cards.children[asking?.at]?.focus());

const begun = location.hash.slice(1);
choose(one(`.list[data-show="${CSS.escape(begun)}"]`) ? begun : show);
safely(counts());
