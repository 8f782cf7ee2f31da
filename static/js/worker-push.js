// In the service worker: shows what was pushed, and opens its address when somebody taps it.
self.addEventListener("push", (event) => {
  let told = {};
  try {
    told = event.data.json();
  } catch {
    // Nothing readable came: browsers want something shown all the same.
  }
  const url = told.url || "/notices/";
  event.waitUntil(
    self.registration.showNotification(told.title || "Something waits for you", {
      body: told.words || "",
      tag: url,
      data: { url },
      icon: "/static/favicon.svg",
    }),
  );
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const wanted = new URL(event.notification.data.url, self.location.origin);
  // Never anywhere else, whatever the message said.
  const url = wanted.origin === self.location.origin ? wanted.href : self.location.origin;
  event.waitUntil(
    (async () => {
      const pages = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
      const there = pages.find((page) => page.url === url);
      await (there ? there.focus() : self.clients.openWindow(url));
    })(),
  );
});
