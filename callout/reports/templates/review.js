// Filters, and carries rulings in and out. Nothing is stored and nothing is sent.
const rows = [...document.querySelectorAll("tbody tr")];
function filter() {
  const find = one("#find").value.trim().toLowerCase();
  const plot = one("#plot").value;
  let shown = 0;
  for (const row of rows) {
    const is = row.dataset;
    const wanted = (!find || is.text.includes(find)) && (!plot || is.plot === plot) &&
      (!one("#warned").checked || is.warned) &&
      (!one("#grown").checked || is.grown) && (!one("#twice").checked || is.twice) && (!one("#unruled").checked || !is.ruled) &&
      (one("#gone").checked || is.stands);
    row.hidden = !wanted;
    shown += wanted ? 1 : 0;
  }
  one("#shown").textContent = `${shown} of ${rows.length} shown`;
}

function tell(text, done = false) {
  one("#told").textContent = text;
  one("#told").classList.toggle("done", done);
}

function openFields(row) {
  const verdict = one(".verdict", row).value;
  one(".value", row).hidden = verdict !== "amended";
  one(".reason", row).hidden = !verdict;
}

function ruling(row, who) {
  const verdict = one(".verdict", row).value;
  if (!verdict) return null;
  const value = one(".value", row).value.trim();
  const reason = one(".reason", row).value.trim();
  const wrong = (text, field) => {
    row.hidden = false;
    one(field, row).focus();
    throw new Error(`Entry ${row.dataset.entry}: ${text}`);
  };
  if (verdict === "amended" && !/^\d+(\.\d+)?$/.test(value)) wrong("say what it is amended to, as 24.6", ".value");
  if (!reason) wrong("give a reason", ".reason");
  const [entry, recorder] = row.dataset.entry.split(":").reverse();
  const where = recorder ? {recorder} : {};
  return {...where, entry: Number(entry), verdict, value: verdict === "amended" ? value : null, reason, who};
}

function exportRulings() {
  const who = one("#who").value.trim();
  if (!who) {
    one("#who").focus();
    throw new Error("Say who rules.");
  }
  const made = rows.map((row) => ruling(row, who)).filter(Boolean);
  if (!made.length) throw new Error("No ruling was made.");
  exported = pending();
  const text = JSON.stringify({survey: document.body.dataset.survey, rulings: made}, null, 2);
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], {type: "application/json"}));
  link.download = "rulings.json";
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  tell(`${made.length} exported to rulings.json.`, true);
}

function importRulings(text) {
  const given = JSON.parse(text).rulings;
  if (!Array.isArray(given)) throw new Error("That file holds no rulings.");
  const byEntry = new Map(rows.map((row) => [row.dataset.entry, row]));
  const named = (item) => item.recorder ? `${item.recorder}:${item.entry}` : String(item.entry);
  const strange = given.find((item) => !byEntry.has(named(item)));
  if (strange) throw new Error(`Entry ${strange.entry} is not on this page: nothing was imported.`);
  for (const item of given) {
    const row = byEntry.get(named(item));
    one(".verdict", row).value = item.verdict;
    one(".value", row).value = item.value ?? "";
    one(".reason", row).value = item.reason;
    one("#who").value = item.who;
    openFields(row);
  }
  tell(`${given.length} imported.`, true);
}

one("#filter").addEventListener("input", filter);
one("#filter").addEventListener("submit", (event) => event.preventDefault());
document.body.addEventListener("click", (event) => {
  const button = event.target.closest(".play");
  if (button) play(button);
});
one("tbody").addEventListener("change", (event) => {
  if (event.target.matches(".verdict")) openFields(event.target.closest("tr"));
});
one("#rulings").addEventListener("submit", (event) => {
  event.preventDefault();
  try { exportRulings(); } catch (error) { tell(error.message); }
});
one("#import").addEventListener("change", async (event) => {
  const [file] = event.target.files;
  if (!file) return;
  try { importRulings(await file.text()); } catch (error) { tell(error.message); }
  event.target.value = "";
});
// Rulings live in this tab alone until they are exported: leaving asks first.
let exported = "";
const pending = () => rows.filter((row) => one(".verdict", row).value)
  .map((row) => [row.dataset.entry, one(".verdict", row).value, one(".value", row).value, one(".reason", row).value])
  .join("|");
addEventListener("beforeunload", (event) => { if (pending() !== exported) event.preventDefault(); });
filter();
