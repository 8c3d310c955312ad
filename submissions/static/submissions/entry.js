// Shows the credit as it will appear, and asks for a guardian only where one may be needed.

const form = document.querySelector("[data-entry]");
if (form) {
  const credit = form.querySelector("[data-credit]");
  const name = form.elements.credit_name;
  const show = () => { credit.textContent = name.value.trim() || credit.dataset.none; };
  name.addEventListener("input", show);
  show();

  const guardian = form.querySelector("[data-guardian]");
  const age = form.elements.age_band;
  const ask = () => { guardian.hidden = age.value === "18"; };
  age.addEventListener("change", ask);
  ask();
  document.getElementById("form-errors")?.focus();
}
