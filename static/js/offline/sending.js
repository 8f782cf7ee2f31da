// Sends what waits: one after the other, in the order it was made, each until the server answered.
// An answer is the server's only with its X-Queued header; anything else, a proxy's page or none,
// leaves the entry waiting, and its key sees to it that what was done already is not done again.
"use strict";

self.sending = (() => {
  const PATIENCE = 30 * 1000; // ms for one answer
  const LONGEST_WAIT = 5 * 60 * 1000; // ms between two tries
  const TRIES_OF_FAILURE = 8; // of a server that fails at this very entry; then the others go on

  async function posted(entry, later) {
    const headers = {
      "X-Queued-For": entry.person,
      "X-Queued-Made-Ago": String(Math.round((Date.now() - entry.madeAt) / 1000)),
    };
    if (later) headers["X-Queued-Later"] = "1";
    return fetch(entry.address, {
      method: "POST",
      body: new URLSearchParams(entry.pairs),
      headers,
      redirect: "manual",
      cache: "no-store",
      signal: AbortSignal.timeout(PATIENCE),
    });
  }

  // A page's proof ends with the session it was made in: the server then tells the one of now.
  async function answered(entry, later) {
    const answer = await posted(entry, later);
    if (answer.headers.get("X-Queued") !== "token") return answer;
    const { token } = await answer.json();
    entry.pairs = entry.pairs.map(([name, value]) => [
      name,
      name === "csrfmiddlewaretoken" ? token : value,
    ]);
    return posted(entry, later);
  }

  async function put(entry, changes) {
    Object.assign(entry, changes);
    await queue.change(entry);
    return entry;
  }

  async function tried(entry, later) {
    const answer = await answered(entry, later);
    const kind = answer.headers.get("X-Queued");
    if (kind === "done") {
      const { leads_to: leadsTo, said } = await answer.json();
      return put(entry, { state: "sent", leadsTo, said, sentAt: Date.now() });
    }
    if (kind === "signed-out") return { ...entry, state: "signed-out" };
    if (kind === "refused") {
      const page = await answer.text();
      const policy = answer.headers.get("Content-Security-Policy") ?? "default-src 'none'";
      return put(entry, { state: "refused", status: answer.status, page, policy, opened: false });
    }
    const failures = entry.failures + (answer.status === 500 ? 1 : 0);
    if (failures >= TRIES_OF_FAILURE) {
      return put(entry, { state: "refused", status: 500, page: "", policy: "default-src 'none'", failures, opened: false });
    }
    return waits(entry, failures, Number(answer.headers.get("Retry-After")) * 1000);
  }

  async function waits(entry, failures, asked) {
    const tries = entry.tries + 1;
    const pause = Math.min(LONGEST_WAIT, Math.max(asked || 0, 1000 * 2 ** Math.min(tries, 10)));
    return put(entry, { tries, failures, next: Date.now() + pause });
  }

  // Those made before `last`, and that one; all where none is named. `eager`: somebody waits, or
  // the line has just come back, so that no pause is kept. Gives back the last one as it stands.
  async function allOf({ last = Infinity, eager = false } = {}) {
    return navigator.locks.request("portaledger-sending", async () => {
      let here = null;
      for (const entry of await queue.all()) {
        if (entry.number > last) break;
        if (entry.state !== "waiting") {
          here = entry;
          continue;
        }
        if (!eager && entry.next > Date.now()) break;
        here = await tried(entry, entry.number !== last).catch(() => waits(entry, entry.failures, 0));
        if (here.state === "waiting" || here.state === "signed-out") break;
      }
      return here && (last === Infinity || here.number === last || here.state === "signed-out")
        ? here
        : null;
    });
  }

  return { allOf };
})();
