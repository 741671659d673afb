// Only adds to pages that are whole without it. In a group of choices one key chooses and goes on: the figure beside the choice, or
// y, n, 0 for none and ? for not known. Among ticks a figure ticks, and Enter goes on.
"use strict";
const named = (name) => [...document.querySelectorAll(`input[name="${CSS.escape(name)}"]`)];
const stops = () => [...document.querySelectorAll("form .field input, form .field textarea, form button")].filter((it) => {
  if (it.type === "hidden" || getComputedStyle(it).visibility === "hidden") return false;
  if (it.type !== "radio") return true;
  const group = named(it.name);
  return it === (group.find((one) => one.checked) ?? group[0]);
});
const goOn = (field) => {
  const all = stops();
  const last = all.findLastIndex((it) => field.contains(it));
  all[last + 1]?.focus();
};
document.addEventListener("keydown", (event) => {
  const at = event.target;
  const field = at.closest?.("form fieldset.field");
  if (!field || !["radio", "checkbox"].includes(at.type) || event.ctrlKey || event.altKey || event.metaKey) return;
  const boxes = [...field.querySelectorAll(".options input")];
  const ticking = boxes.length > 0 && field.querySelector("[value='?some']")?.checked;
  if (ticking && event.key === "Enter") {
    event.preventDefault();
    goOn(field);
    return;
  }
  if (ticking && boxes[Number(event.key) - 1]) {
    event.preventDefault();
    const box = boxes[Number(event.key) - 1];
    box.checked = !box.checked;
    return;
  }
  if (at.type !== "radio") return;
  const group = named(at.name);
  const word = { y: "yes", n: "no", "?": "?", "0": "?none" }[event.key];
  const chosen = word ? group.find((it) => it.value === word) : group[Number(event.key) - 1];
  if (!chosen) return;
  event.preventDefault();
  chosen.checked = true;
  chosen.focus();
  if (chosen.value !== "?some") goOn(field);
});
if (document.querySelector("main form fieldset.field")) document.documentElement.classList.add("keys");
document.querySelector(".errors")?.focus();
