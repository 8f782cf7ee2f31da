// Pages that the server lets one person keep, as last fetched, with what they look like; shown with
// their age where there is no line. The header that allows it names the person.
"use strict";

self.kept = (() => {
  const PAGES = "kept-pages", ASSETS = "kept-assets";
  const MOST_PAGES = 80, MOST_ASSETS = 80;
  const OLDEST = 3 * 24 * 3600 * 1000; // ms: as long as the server takes what was noted without a line
  const GONE = [403, 404];
  const FRESH = 60 * 1000, ALONG = 15 * 60 * 1000; // ms in which a page is not fetched once more

  const LOOKS = /(?:src|href)="(\/static\/[^"]+)"/g; // what a page needs to look like itself

  const forget = () => caches.delete(PAGES);

  // What the server answered for an address. Nobody is signed in here: nothing stays. That person
  // may not see it any more: it goes.
  async function heard(address, answer) {
    const whose = answer.headers.get("X-Kept-For");
    if (whose === "nobody") return forget();
    if (whose) return keep(address, answer.clone());
    if (answer.headers.has("X-Request-ID") && GONE.includes(answer.status)) await drop(address);
  }

  // At most so many, the longest kept go first: Cache.keys gives them in the order they were put.
  async function trim(cache, most) {
    const keys = await cache.keys();
    await Promise.all(keys.slice(0, Math.max(0, keys.length - most)).map((key) => cache.delete(key)));
  }

  const plain = (address) => address.split("#")[0];
  const drop = async (address) => (await caches.open(PAGES)).delete(plain(address));

  async function keep(address, answer) {
    const whose = answer.headers.get("X-Kept-For");
    if (whose !== (await queue.fact("person"))) return;
    const headers = new Headers(answer.headers);
    headers.set("X-Kept-At", String(Date.now()));
    headers.delete("Set-Cookie");
    const text = await answer.text(), copy = new Response(text, { headers });
    await assets([...text.matchAll(LOOKS)].map((found) => found[1]));
    const cache = await caches.open(PAGES);
    await cache.delete(plain(address));
    await cache.put(plain(address), copy);
    // Somebody may have signed out while it was on its way.
    if (whose !== (await queue.fact("person"))) return forget();
    for (const key of await cache.keys()) await find(key.url); // which deletes what is too old
    await trim(cache, MOST_PAGES);
  }

  async function find(address) {
    const found = await (await caches.open(PAGES)).match(plain(address));
    if (!found) return null;
    const age = Date.now() - Number(found.headers.get("X-Kept-At"));
    const theirs = found.headers.get("X-Kept-For") === (await queue.fact("person"));
    if (theirs && age <= OLDEST) return { found, age };
    await drop(address);
    return null;
  }

  const clock = (moment) => {
    const today = new Date().toDateString() === moment.toDateString();
    const day = today ? {} : { weekday: "short", day: "numeric", month: "short" };
    return moment.toLocaleString("en-GB", { ...day, hour: "2-digit", minute: "2-digit" });
  };

  // The copy with its moment in place of the empty line; its age is the page's to tell. One key of the server's stands for the page:
  // each showing is given an end of its own, so that two shots that are alike are two.
  async function shown(address) {
    const held = await find(address);
    if (!held) return null;
    const at = new Date(Date.now() - held.age);
    const told = `As of ${clock(at)}<span></span>. No line: nothing here is newer than that.`;
    const text = (await held.found.text())
      .replace('<p id="as-of" hidden></p>', `<p id="as-of" data-kept-at="${at.getTime()}">${told}</p>`)
      .replace(/(name="sent_once" value="[^"~]*)"/g, (_, key) => `${key}~${crypto.randomUUID()}"`);
    return new Response(text, { headers: held.found.headers });
  }

  async function fetched(address, within) {
    const held = await find(address);
    if (held && held.age < within) return;
    await heard(address, await fetch(address));
  }

  // The page somebody has in front of them, if it is one to keep, and those it names, one after the
  // other: a line at a bar is narrow.
  async function along(page, others) {
    if (page) await fetched(page, FRESH).catch(() => {});
    for (const each of others) await fetched(each, ALONG).catch(() => {});
  }

  async function asset(request) {
    const cache = await caches.open(ASSETS);
    try {
      const answer = await fetch(request);
      if (answer.ok) await cache.put(request, answer.clone());
      return answer;
    } catch (error) {
      const held = await cache.match(request, { ignoreVary: true });
      if (held) return held;
      throw error;
    }
  }

  async function assets(addresses) {
    const cache = await caches.open(ASSETS);
    for (const each of addresses) {
      if (!(await cache.match(each, { ignoreVary: true }))) await cache.add(each).catch(() => {});
    }
    await trim(cache, MOST_ASSETS);
  }

  return { heard, shown, along, asset, forget };
})();
