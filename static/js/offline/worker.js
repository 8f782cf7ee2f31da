// What the service worker does for a bar without a line: pages from what is kept, forms that may be
// queued through the queue. Everything else goes to the server as if there were no worker.
"use strict";

(() => {
  // Forms with {% queued_as %}: a test holds the two together.
  const QUEUED = /^\/(slots\/\d+\/(shots\/new|read-back)|sites\/\d+\/to-key|requests\/new)\/$/;
  const WAITING = "/waiting/";
  const PATIENCE = 10 * 1000; // ms until a page that is kept is shown instead
  const GATEWAY = [502, 503, 504]; // the server's proxy answers, the server does not
  const KEPT_SENT = 20; // of what was sent, to be looked at

  self.addEventListener("install", () => self.skipWaiting());
  self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

  self.addEventListener("fetch", (event) => {
    const { request } = event, url = new URL(request.url);
    if (url.origin !== self.location.origin) return;
    if (request.mode !== "navigate") {
      if (request.method === "GET" && url.pathname.startsWith("/static/")) {
        event.respondWith(kept.asset(request));
      }
    } else if (request.method === "GET") {
      event.respondWith(page(event, url));
    } else if (request.method === "POST" && QUEUED.test(url.pathname)) {
      event.respondWith(queued(event));
    }
  });

  // Pages.

  let newest = 0; // of the pages asked for

  async function page(event, url) {
    const number = (newest += 1);
    const address = url.pathname === WAITING ? WAITING : url.href;
    const asked = fetch(event.request);
    asked.catch(() => {}); // told below, or nobody waits for it any more
    const late = new Promise((resolve) => setTimeout(resolve, PATIENCE, null));
    try {
      const answer = (await Promise.race([asked, late])) ?? (await kept.shown(address)) ?? (await asked);
      if (GATEWAY.includes(answer.status)) return (await kept.shown(address)) ?? answer;
      // Only what may be kept is read twice: a download would be held in memory.
      const copy = answer.headers.has("X-Kept-For") ? answer.clone() : answer;
      event.waitUntil(heard(address, copy, number));
      return answer;
    } catch {
      return (await kept.shown(address)) ?? (await kept.shown(WAITING)) ?? noLine();
    }
  }

  // The newest page says who is here before its own script could: a line may go in between.
  async function heard(address, answer, number) {
    const whose = answer.headers.get("X-Kept-For");
    if (whose && whose !== "nobody" && number === newest) await isHere(whose);
    await kept.heard(address, answer);
  }

  async function noLine() {
    const held = (await queue.all()).filter((each) => each.state === "waiting").length;
    const told = held
      ? `${held} noted on this device: sent once each when the line is back. `
      : "";
    const text = "<!doctype html><html lang=en><meta charset=utf-8>"
      + "<meta name=viewport content='width=device-width'><title>No line · Portaledger</title>"
      + `<h1>No line</h1><p>${told}This page was not kept on this device. Try again when the line is back.`;
    const headers = {
      "Content-Type": "text/html; charset=utf-8",
      "Content-Security-Policy": "default-src 'none'",
    };
    return new Response(text, { status: 503, statusText: "No line", headers });
  }

  // Forms.

  async function digest(address, pairs) {
    const meant = pairs.filter(([name]) => name !== "csrfmiddlewaretoken");
    const bytes = new TextEncoder().encode(JSON.stringify([address, meant]));
    const hash = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
    return [...hash].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  async function entryOf(request) {
    const pairs = [...(await request.formData()).entries()].map(([k, v]) => [k, String(v)]);
    const given = Object.fromEntries(pairs), address = request.url.split("#")[0];
    return {
      same: await digest(address, pairs),
      person: (given.sent_once ?? "").split(":")[0].split(".")[1] ?? "",
      address,
      pairs,
      name: given.queued_as ?? "",
      words: given.queued_words ?? "",
      from: request.referrer,
      madeAt: Date.now(),
      state: "waiting",
      said: [],
      again: 0,
      tries: 0,
      failures: 0,
      next: 0,
    };
  }

  async function queued(event) {
    const noted = await entryOf(event.request.clone());
    // Where the device lets nothing be stored, it is sent as if there were no worker.
    const entry = await queue.add(noted).catch(() => null);
    if (!entry) return fetch(event.request);
    const sent = sending.allOf({ last: entry.number, eager: true });
    event.waitUntil(sent.then(told));
    const now = await sent;
    if (now?.state === "sent") {
      await drop(now);
      return Response.redirect(now.leadsTo, 303);
    }
    if (now?.state === "refused") {
      await queue.change({ ...now, opened: true });
      const headers = {
        "Content-Type": "text/html; charset=utf-8",
        "Content-Security-Policy": now.policy,
        "Cache-Control": "no-store",
      };
      return new Response(now.page || "The program failed at this.", { status: now.status, headers });
    }
    await later();
    const signIn = `/account/login/?next=${encodeURIComponent(WAITING)}`;
    return Response.redirect(now?.state === "signed-out" ? signIn : WAITING, 303);
  }

  // Somebody is led where it led: nothing of it is left to be told. What was refused there before,
  // was looked at and sent anew, is put right with it.
  async function drop(entry) {
    await queue.remove(entry.number);
    for (const each of await queue.all()) {
      if (each.state === "refused" && each.opened && each.address === entry.address) {
        await queue.remove(each.number);
      }
    }
  }

  async function later() {
    await self.registration.sync?.register("send").catch(() => {});
  }

  self.addEventListener("sync", (event) => {
    if (event.tag === "send") event.waitUntil(send({ eager: true }));
  });

  async function send(how) {
    await sending.allOf(how);
    const sent = (await queue.all()).filter((each) => each.state === "sent");
    for (const each of sent.slice(0, -KEPT_SENT)) await queue.remove(each.number);
    await told();
  }

  async function told() {
    for (const each of await self.clients.matchAll()) each.postMessage({ queue: "changed" });
  }

  // What pages ask: {ask: name, …}, answered on the port that came with it.

  const told_of = {
    async here({ person }) {
      await isHere(person);
    },
    async keep({ page: address, along }) {
      await kept.along(address, along);
    },
    async send({ eager }) {
      await send({ eager });
      return told_of.state();
    },
    async state() {
      return { entries: await queue.all(), lost: (await queue.fact("lost")) ?? 0 };
    },
    async forget({ number }) {
      if (number === 0) await queue.note("lost", 0);
      else await queue.remove(number);
      await told();
    },
    async wipe() {
      await queue.wipe();
      await kept.forget();
    },
  };

  // Somebody signed in has a page in front of them. What another left behind is deleted, at every
  // page: it may come late, from a page of theirs that was still open.
  // One after the other, or the second would say that nothing was lost.
  const isHere = (person) => navigator.locks.request("portaledger-person", async () => {
    const known = (await queue.fact("person")) === person;
    const lost = await queue.removeOthers(person);
    if (!known) {
      await kept.forget();
      await queue.note("person", person);
    }
    const before = known ? ((await queue.fact("lost")) ?? 0) : 0;
    if (lost || !known) await queue.note("lost", before + lost);
  });

  self.addEventListener("message", (event) => {
    const answer = told_of[event.data?.ask];
    if (!answer) return;
    const done = answer(event.data).then(
      (result) => event.ports[0]?.postMessage({ result }),
      (error) => event.ports[0]?.postMessage({ error: String(error) }),
    );
    event.waitUntil(done);
  });
})();
