// <output data-ratio-of="id_beverage_mass id_dose_mass">: the brew ratio while typing.
// For the eye only; the server computes the ratio that is kept, from exact decimals.
const amount = (id) => {
  const typed = document.getElementById(id)?.value.trim().replace(",", ".") ?? "";
  return /^\d+(\.\d+)?$/.test(typed) ? Number(typed) : NaN;
};

const show = (output) => {
  const [above, below] = output.dataset.ratioOf.split(/\s+/).map(amount);
  const ratio = above / below;
  output.value = Number.isFinite(ratio) ? `1 : ${ratio.toFixed(2)}` : "–";
};

for (const output of document.querySelectorAll("output[data-ratio-of]")) {
  for (const id of output.dataset.ratioOf.split(/\s+/)) {
    document.getElementById(id)?.addEventListener("input", () => show(output));
  }
  show(output);
}
