// Only adds to pages that are whole without it. In a group of choices one key chooses and goes on: the figure of the choice, or
// y, n, and ? for not known.
"use strict";
const fields = () => [...document.querySelectorAll("form .field input, form .field textarea, form button")].filter((it) => {
  if (it.type === "hidden" || getComputedStyle(it).visibility === "hidden") return false;
  if (it.type !== "radio") return true;
  const group = [...document.querySelectorAll(`input[name="${CSS.escape(it.name)}"]`)];
  return it === (group.find((one) => one.checked) ?? group[0]);
});
document.addEventListener("keydown", (event) => {
  const at = event.target;
  if (at.type !== "radio" || event.ctrlKey || event.altKey || event.metaKey) return;
  const group = [...at.form.querySelectorAll(`input[name="${CSS.escape(at.name)}"]`)];
  const named = { y: "yes", n: "no", "?": "?", "0": "?none" }[event.key];
  const chosen = named ? group.find((it) => it.value === named) : group[Number(event.key) - 1];
  if (!chosen) return;
  event.preventDefault();
  chosen.checked = true;
  chosen.focus();
  if (chosen.value === "?some") return;
  const all = fields();
  all[all.findIndex((it) => it.name === at.name && it.type === "radio") + 1]?.focus();
});
document.querySelector(".errors")?.focus();
