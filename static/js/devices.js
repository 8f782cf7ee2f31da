// Adding this browser to the devices that are told: asks it for a subscription and sends the form.
const form = document.querySelector("form[data-device]");
const button = form?.querySelector("button");
const said = form?.querySelector("[role=status]");

const bytes = (text) => {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(plain, (letter) => letter.charCodeAt(0));
};

const filled = (subscription) => {
  const { endpoint, keys } = subscription.toJSON();
  form.elements.endpoint.value = endpoint;
  form.elements.p256dh.value = keys.p256dh;
  form.elements.auth.value = keys.auth;
  form.elements.made_for.value = form.dataset.device;
};

const subscribe = async () => {
  if ((await Notification.requestPermission()) !== "granted") {
    said.textContent = "This browser was told not to show notices: allow them in its settings.";
    return;
  }
  await navigator.serviceWorker.register("/service-worker.js");
  const worker = await navigator.serviceWorker.ready;
  const former = await worker.pushManager.getSubscription();
  await former?.unsubscribe(); // it may be for a key of before
  filled(
    await worker.pushManager.subscribe({
      userVisibleOnly: true,
      applicationServerKey: bytes(form.dataset.device),
    }),
  );
  form.submit();
};

if (form) {
  if ("serviceWorker" in navigator && "PushManager" in window && window.isSecureContext) {
    button.hidden = false;
    said.textContent = "";
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      subscribe().catch(() => {
        said.textContent = "This browser can't be told: its push service does not answer.";
      });
    });
  } else {
    said.textContent = "This browser can't be told.";
  }
}
