// Makes the forms quicker where scripts run; every form works without it.
"use strict";

// A number field with data-step gets a key for less and one for more.
for (const input of document.querySelectorAll("input[data-step]")) {
  const step = Number(input.dataset.step);
  const key = (sign, words) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "step";
    button.textContent = sign < 0 ? "\u2212" : "+";
    button.setAttribute("aria-label", words);
    button.addEventListener("click", () => {
      const now = Number(input.value);
      if (!Number.isFinite(now)) return;
      input.value = String(now + sign * step);
      input.dispatchEvent(new Event("input", { bubbles: true }));
    });
    return button;
  };
  input.before(key(-1, "less"));
  input.after(key(1, "more"));
}

// A file that would not be taken is told before it is sent.
for (const input of document.querySelectorAll("input[data-most]")) {
  input.addEventListener("change", () => {
    const tooLarge = [...input.files].some((file) => file.size > Number(input.dataset.most));
    input.setCustomValidity(tooLarge ? input.dataset.told : "");
    input.reportValidity();
  });
}

// What was typed and not sent stays on the phone: a page closed, reloaded or lost with the laptop
// asleep comes back as it was left. It goes once the laptop says that a form was taken.
const EVENING = 12 * 3600 * 1000;
const drafts = (() => {
  try { localStorage.length; return localStorage; } catch { return null; }  // switched off
})();
const query = new URLSearchParams(location.search);
for (const name of ["told", "kept"]) query.delete(name);
const fieldsOf = (form) => [...form.elements].filter((one) => one.name
  && !["hidden", "file", "submit", "button"].includes(one.type));
const draftOf = (form) => {
  const [first] = fieldsOf(form), what = form.elements.do ? form.elements.do.value : "";
  return `draft ${location.pathname}?${query} ${what} ${first ? first.name : ""}`;
};
const isTouched = (one) => {
  if (one.type === "radio") return one.checked && !one.defaultChecked;
  if (!one.options) return one.value !== one.defaultValue;
  const first = [...one.options].findIndex((option) => option.defaultSelected);
  return one.selectedIndex !== Math.max(first, 0);
};

const keep = (form) => {
  const typed = fieldsOf(form).filter(isTouched).map((one) => [one.name, one.value]);
  if (!typed.length) { drafts.removeItem(draftOf(form)); return; }
  const once = form.elements.once ? form.elements.once.value : "";
  try {
    drafts.setItem(draftOf(form), JSON.stringify({ at: Date.now(), typed, once }));
  } catch { /* full: nothing is kept, all works as without */ }
};

const bringBack = (form) => {
  let draft = null;
  try { draft = JSON.parse(drafts.getItem(draftOf(form))); } catch { /* not ours */ }
  if (!draft || Date.now() - draft.at > EVENING) { drafts.removeItem(draftOf(form)); return; }
  let isNews = false;
  for (const [name, value] of draft.typed) {
    for (const one of fieldsOf(form).filter((field) => field.name === name)) {
      if (one.type === "radio") {
        if (one.value !== value || one.checked) continue;
        one.checked = true;
      } else {
        if (one.value === value) continue;
        one.value = value;
      }
      isNews = true;
    }
  }
  if (form.elements.once && draft.once) form.elements.once.value = draft.once;
  if (isNews) tellOfDraft(form);
};

const tellOfDraft = (form) => {
  const told = document.createElement("p");
  told.className = "under";
  told.setAttribute("role", "status");
  told.textContent = "Typed before and not sent yet: it is still here.";
  const anew = document.createElement("button");
  anew.type = "button";
  anew.className = "plain";
  anew.textContent = "Start this one anew";
  anew.addEventListener("click", () => {
    drafts.removeItem(draftOf(form));
    location.reload();
  });
  form.prepend(told, anew);
};

if (drafts) {
  const sent = JSON.parse(sessionStorage.getItem("sent") || "[]");
  if (/(^|; )taken=1/.test(document.cookie)) {
    document.cookie = "taken=; Max-Age=0; Path=/; SameSite=Strict";
    for (const key of sent) drafts.removeItem(key);
    sessionStorage.removeItem("sent");
  } else if (!location.search.includes("told=")) {
    sessionStorage.removeItem("sent");
  }
  for (const form of document.forms) {
    bringBack(form);
    form.addEventListener("input", () => keep(form));
    form.addEventListener("submit", () => {
      if (form.method === "get") { drafts.removeItem(draftOf(form)); return; }
      const keys = JSON.parse(sessionStorage.getItem("sent") || "[]");
      sessionStorage.setItem("sent", JSON.stringify([...keys, draftOf(form)]));
    });
  }
}

// A slider says in words where it stands.
for (const slider of document.querySelectorAll("input[data-tells]")) {
  const told = document.getElementById(slider.dataset.tells);
  const tell = () => { told.textContent = "heavy to slick " + slider.value + "%"; };
  slider.addEventListener("input", tell);
  tell();
}

// A second tap on the same key while the first is on its way is passed over.
for (const form of document.querySelectorAll("form[method=post]")) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "yes";
  });
}
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});

// A fault is brought into view.
const fault = document.querySelector("[role=alert]");
if (fault) fault.scrollIntoView({ block: "center" });
