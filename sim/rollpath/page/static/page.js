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
      if (Number.isFinite(now)) input.value = String(now + sign * step);
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
    input.setCustomValidity(tooLarge ? "That file is too large: at most 8 MB are taken." : "");
    input.reportValidity();
  });
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
