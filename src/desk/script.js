// Only adds to pages that are whole without it: keys, which the page names, and saving whatever field is left.
"use strict";
const form = document.querySelector("form.interview");
const fields = () => [...form.querySelectorAll(".field")];
const inputs = (field) => [...field.querySelectorAll("input:not([type=hidden], [name^='k.']), textarea")];
const isChoice = (it) => ["radio", "checkbox"].includes(it.type);
const isBlank = (field) => inputs(field).every((it) => isChoice(it) ? !it.checked : !it.value.trim());
const packed = (field) => inputs(field).map((it) => isChoice(it) ? it.checked : it.value).join("\n");
const stop = (field) => inputs(field).find((it) => it.checked && it.type === "radio") ?? inputs(field)[0];
const nextBlank = (field) => {
  const asked = fields().filter((it) => !it.closest(".notes"));
  return asked.slice(asked.indexOf(field) + 1).find(isBlank);
};
const goOn = (field) => {
  const next = nextBlank(field);
  (next ? stop(next) : form.querySelector("button")).focus();
};
const goOnOrSave = (field) => nextBlank(field) ? goOn(field) : form.requestSubmit(form.querySelector("button"));
const choose = (field, value) => {
  const chosen = field.querySelector(`[type=radio][value="${CSS.escape(value)}"]`);
  if (chosen) chosen.checked = true;
  return chosen;
};

// One empty line behind those that are written.
const lines = (field) => [...field.querySelectorAll("input.entry")];
const trimLines = (field) => {
  const last = lines(field).findLastIndex((it) => it.value.trim());
  lines(field).slice(last + 2).forEach((it) => it.remove());
};
const addLine = (field) => {
  const last = lines(field).at(-1);
  if (!last?.value.trim()) return;
  const next = last.cloneNode();
  next.value = "";
  next.removeAttribute("id");
  next.removeAttribute("autofocus");
  next.setAttribute("aria-label", `Line ${lines(field).length + 1}`);
  last.after(next);
};

// The known name instead of the one that nobody recognised.
const take = (field, box) => {
  const [name, near] = box.value.split("\n");
  const line = lines(field).find((it) => it.value.startsWith(name));
  if (!line) return;
  line.value = line.value.replace(name, near);
  box.closest("label").remove();
  line.focus();
};

const noToTheRest = () => {
  for (const it of form.querySelectorAll("fieldset.rest")) {
    if (isBlank(it)) choose(it, it.classList.contains("several") ? "?none" : "no");
  }
  goOn(null);
};

const inGroup = (field, at, key) => {
  if (key === "-") {
    noToTheRest();
    return true;
  }
  const boxes = [...field.querySelectorAll(".options [type=checkbox]")];
  const ticked = key === "*" ? boxes : boxes.slice(Number(key) - 1, Number(key));
  if (ticked.length) {
    choose(field, "?some");
    ticked.forEach((it) => { it.checked = key === "*" || !it.checked; });
    return true;
  }
  if (key === "Enter" && boxes.some((it) => it.checked)) {
    goOnOrSave(field);
    return true;
  }
  if (at.type !== "radio") return false;
  const word = { y: "yes", n: "no", "?": "?", 0: "?none" }[key];
  const radios = [...field.querySelectorAll("[type=radio]:not([value^='?'])")];
  const chosen = word ? choose(field, word) : boxes.length ? null : radios[Number(key) - 1];
  if (!chosen) return false;
  chosen.checked = true;
  chosen.focus();
  const beside = field.querySelector("input.short");
  if (chosen.value === "?some") lines(field)[0]?.focus();
  else if (beside && !chosen.value.startsWith("?")) beside.focus();
  else goOn(field);
  return true;
};

const inText = (field, at) => {
  const beside = field.querySelector("input.short[name^='d.']");
  if (beside && at !== beside && !beside.value) beside.focus();
  else goOnOrSave(field);
};

const inLines = (field, at) => {
  const next = lines(field)[lines(field).indexOf(at) + 1];
  if (next && !["", "0", "?", "none"].includes(at.value.trim())) next.focus();
  else goOnOrSave(field);
};

// One at a time, without the field in hand; and no more once somebody else saved: the next press of a button tells the rest.
let pending = null;
let isAgain = false;
let isStale = false;
let isLeaving = false;
const saved = new Map();
const keep = (field) => saved.set(field.id, packed(field));
const show = (page, sent) => {
  form.elements.version.value = page.querySelector("[name=version]").value;
  const standing = page.querySelector(".standing");
  if (standing) document.querySelector(".standing")?.replaceWith(standing);
  for (const [field, was] of sent) {
    saved.set(field.id, was);
    const fresh = page.getElementById(field.id);
    if (!fresh || field.contains(document.activeElement) || packed(field) !== was) continue;
    fresh.querySelectorAll("[autofocus]").forEach((it) => it.removeAttribute("autofocus"));
    field.replaceWith(fresh);
    trimLines(fresh);
    keep(fresh);
  }
};
const save = (inHand) => {
  isAgain = pending !== null;
  const left = fields().filter((it) => !it.contains(inHand));
  if (pending || isStale || isLeaving || left.every((it) => saved.get(it.id) === packed(it))) return;
  const sent = new Map(left.map((it) => [it, packed(it)]));
  const body = new FormData(form);
  inHand?.closest(".field")?.querySelectorAll("[name]").forEach((it) => body.delete(it.name));
  body.set("then", "keep");
  pending = fetch(form.action, { method: "POST", body: new URLSearchParams(body) }).then(async (answer) => {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    isStale = answer.status === 409;
    if (isStale) form.before(page.querySelector(".errors"));
    else if ([200, 422].includes(answer.status)) show(page, sent);
  }).catch(() => {}).finally(() => {
    pending = null;
    if (isAgain) save(document.activeElement);
  });
};

if (form) {
  document.documentElement.classList.add("keys");
  fields().forEach(trimLines);
  fields().forEach(keep);
  form.addEventListener("keydown", (event) => {
    const at = event.target;
    const field = at.closest(".field");
    if (!field || event.ctrlKey || event.altKey || event.metaKey) return;
    if (isChoice(at)) {
      if (!inGroup(field, at, event.key)) return;
    } else {
      if (event.key !== "Enter" || at.matches("textarea")) return;
      (at.matches("input.entry") ? inLines : inText)(field, at);
    }
    event.preventDefault();
  });
  form.addEventListener("input", (event) => {
    const field = event.target.closest(".field");
    if (event.target.matches("input.entry")) addLine(field);
    if (event.target.matches(".options [type=checkbox]")) choose(field, "?some");
    if (event.target.matches("[name^='k.']")) take(field, event.target);
  });
  form.addEventListener("focusout", (event) => {
    if (!event.target.closest(".field")?.contains(event.relatedTarget)) save(event.relatedTarget);
  });
  form.addEventListener("submit", (event) => {
    if (event.submitter?.value === "rest") {
      event.preventDefault();
      noToTheRest();
    } else if (pending) {
      event.preventDefault();
      pending.then(() => form.requestSubmit(event.submitter));
    } else {
      isLeaving = true;
    }
  });
}
document.querySelector(".errors")?.focus();
