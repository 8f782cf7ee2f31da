// In the service worker: shows what was pushed, and opens its address when somebody taps it.
self.addEventListener("push", (event) => {
  let told = {};
  try {
    told = event.data.json() ?? {};
  } catch {
    // Nothing readable came: browsers want something shown all the same.
  }
  const url = told.url || "/notices/";
  event.waitUntil(
    self.registration.showNotification(told.title || "Something waits for you", {
      body: told.words || "",
      tag: url,
      renotify: true, // what is new at a place is told, though a notice of before still stands there
      data: { url },
      icon: "/static/icons/mark-192.png",
    }),
  );
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const home = new URL("/", self.location), wanted = new URL(event.notification.data.url, home);
  // Never anywhere else, whatever the message said.
  const url = (wanted.origin === home.origin ? wanted : home).href;
  event.waitUntil(
    (async () => {
      const pages = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
      const there = pages.find((page) => page.url === url);
      await (there ? there.focus() : self.clients.openWindow(url));
    })(),
  );
});
