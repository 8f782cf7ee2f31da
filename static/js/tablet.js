// A shared tablet left alone goes back to the choice of people. A form that was begun is sent where
// it is kept for its person; nothing of it is carried out.
const handOver = document.querySelector("#hand-over");
const idle = Number(handOver?.dataset.idle) * 1000;

function begunForm() {
  const forms = [...document.forms].filter((form) => form.elements.sent_once);
  return forms.find((form) =>
    [...form.elements].some(
      (field) =>
        field.name && field.type !== "hidden" && "defaultValue" in field &&
        (field.value !== field.defaultValue || field.checked !== field.defaultChecked),
    ),
  );
}

function hidden(name, value) {
  const field = document.createElement("input");
  field.type = "hidden";
  field.name = name;
  field.value = value;
  return field;
}

function rest() {
  const form = begunForm() ?? handOver;
  if (form !== handOver) {
    const { pathname, search } = window.location;
    form.append(hidden("tablet_to", new URL(form.action).pathname));
    form.append(hidden("tablet_back", pathname + search));
  }
  form.action = handOver.dataset.rest;
  form.noValidate = true;
  HTMLFormElement.prototype.submit.call(form);
}

if (idle) {
  let waiting = setTimeout(rest, idle);
  for (const sign of ["pointerdown", "keydown", "scroll"]) {
    window.addEventListener(
      sign,
      () => {
        clearTimeout(waiting);
        waiting = setTimeout(rest, idle);
      },
      { passive: true },
    );
  }
}
