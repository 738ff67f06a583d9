// Lists, finds, plays and rules. A ruling is written before this page says so.
const cards = one("#cards");
let show = "twice";
let asking = null;
let round = 0;

const LEAD = {
  left: "Trees of a roster that nobody measured who worked by it.",
  twice: "Readings of one stem by two recorders, 60 days apart at most, that disagree and are not ruled on.",
  flagged: "Readings that were saved with a warning.",
  growth: document.body.dataset.growth,
  notes: "What was noted, typed or spoken.",
  ruled: "Readings with a ruling. Withdraw it, and it is as if nobody had ruled; the journal keeps both.",
  all: "Every reading that stands.",
  gone: "Every reading ever saved, superseded and undone ones too.",
  states: "What each journal is sealed by, whether it holds, and what sound was removed by whose order.",
};

function tell(text, fault = true) {
  one("#told").textContent = text;
  one("#told").classList.toggle("fault", fault);
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

async function counts() {
  const told = await ask("counts");
  for (const button of document.querySelectorAll(".list")) {
    const count = told[button.dataset.show];
    one(".count", button).textContent = count === undefined ? "" : count.toLocaleString("en");
  }
}

async function list(start = 0) {
  const mine = ++round;
  const query = new URLSearchParams({show, find: one("#find").value, plot: one("#plot").value, from: start});
  const told = await ask(`list?${query}`);
  if (mine !== round) return;
  if (!start) cards.replaceChildren();
  cards.insertAdjacentHTML("beforeend", told.html);
  one("#more").hidden = !told.next;
  one("#more").dataset.from = told.next;
  const title = one(`.list[data-show=${show}]`).firstChild.textContent.trim();
  one("#heading").textContent = show === "states" ? title : `${title}: ${told.count.toLocaleString("en")}`;
  one("#lead").textContent = LEAD[show];
  if (told.running) setTimeout(() => { if (show === "states") safely(list()); }, 1500);
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
  if (!one("#who").value.trim()) {
    tell("Say who rules: your name or initials.");
    one("#who").focus();
    return;
  }
  const at = [...cards.children].indexOf(card);
  asking = {rulings, at};
  one("#asked").textContent = told;
  one("#value-label").hidden = !unit;
  one("#unit").textContent = unit;
  one("#accept-label").hidden = true;
  one("#accept").checked = false;
  for (const field of ["#value", "#reason"]) one(field).value = "";
  one("#fault").textContent = "";
  one("#ruling").showModal();
  one(unit ? "#value" : "#reason").focus();
}

function ofPair(card, choice) {
  const [left, right] = card.querySelectorAll("section");
  const stays = {1: [true, false], 2: [false, true], both: [true, true], none: [false, false]}[choice];
  const rulings = [left, right].map((part, at) => named(part, stays[at] ? "stands" : "void"));
  const told = one(`[data-choice="${choice}"]`, card).textContent;
  openRuling(card, rulings, `${one("h3", card).textContent}: ${told}`);
}

function ofOne(card, verdict) {
  const button = one(`[data-verdict=${verdict}]`, card);
  if (!button) return;
  const unit = verdict === "amended" ? button.dataset.unit : "";
  openRuling(card, [named(card, verdict)], button.getAttribute("aria-label"), unit);
}

async function write() {
  const fault = (text, field) => {
    one("#fault").textContent = text;
    if (field) one(field).focus();
  };
  const [first] = asking.rulings;
  if (first.verdict === "amended") {
    first.value = one("#value").value.trim();
    if (!/^\d+(\.\d+)?$/.test(first.value)) return fault("Say what it is amended to, as 24.6.", "#value");
  }
  const reason = one("#reason").value.trim();
  if (!reason) return fault("Give a reason.", "#reason");
  one("#write").disabled = true;
  try {
    const told = await ask("rule", {rulings: asking.rulings, reason, who: one("#who").value.trim(),
      accept: one("#accept").checked});
    one("#ruling").close();
    tell(`Written: ${told.told}`, false);
    await Promise.all([counts(), list()]);
    (cards.children[Math.min(asking.at, cards.children.length - 1)] ?? one("#heading")).focus();
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

function step(by) {
  const at = [...cards.children].indexOf(document.activeElement?.closest?.(".card"));
  const next = cards.children[Math.max(0, at + by)];
  next?.focus();
  next?.scrollIntoView({block: "nearest"});
}

const KEYS = {s: "stands", a: "amended", v: "void", w: "withdrawn"};
const CHOICES = {1: "1", 2: "2", b: "both", v: "none"};

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || one("#ruling").open) return;
  if (event.target.matches("input, select, textarea")) {
    if (event.key === "Escape") step(0);
    return;
  }
  const key = event.key.toLowerCase();
  const card = event.target.closest(".card");
  if (key === "j") step(1);
  else if (key === "k") step(-1);
  else if (key === "/") one("#find").focus();
  else if (!card) return;
  else if (key === "p") {
    const button = card.querySelectorAll(".play")[event.shiftKey ? 1 : 0];
    if (button) play(button);
  } else if (card.matches(".pair") && CHOICES[key]) ofPair(card, CHOICES[key]);
  else if (!card.matches(".pair") && KEYS[key]) ofOne(card, KEYS[key]);
  else return;
  event.preventDefault();
});
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
  if (event.target.matches("#who")) return;
  clearTimeout(typing);
  typing = setTimeout(() => safely(list()), 120);
});
one("#filter").addEventListener("submit", (event) => event.preventDefault());
one("#more").addEventListener("click", () => safely(list(Number(one("#more").dataset.from))));
one("#ruling form").addEventListener("submit", (event) => { event.preventDefault(); write(); });
one("#leave").addEventListener("click", () => one("#ruling").close());
one("#ruling").addEventListener("close", () => cards.children[asking?.at]?.focus());

const begun = location.hash.slice(1);
choose(one(`.list[data-show="${CSS.escape(begun)}"]`) ? begun : "twice");
safely(counts());
