// Adding this browser to the devices that are told: asks it for a subscription and sends the form.
const form = document.querySelector("form[data-device]");
const button = form?.querySelector("button");
const said = form?.querySelector("[role=status]");
const PATIENCE = 30 * 1000; // ms: a browser that reaches no push service may never answer

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

const late = () => new Promise((_, refuse) => setTimeout(refuse, PATIENCE));

const subscribe = async () => {
  said.textContent = "Asking this browser…";
  if ((await Notification.requestPermission()) !== "granted") {
    said.textContent = "This browser was told not to show notices: allow them in its settings.";
    return;
  }
  await navigator.serviceWorker.register("/service-worker.js");
  const worker = await navigator.serviceWorker.ready;
  const former = await worker.pushManager.getSubscription();
  await former?.unsubscribe(); // it may be for a key of before
  const asked = worker.pushManager.subscribe({
    userVisibleOnly: true,
    applicationServerKey: bytes(form.dataset.device),
  });
  filled(await Promise.race([asked, late()]));
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
