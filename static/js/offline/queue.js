// What was noted on this device and is not with the server yet, in IndexedDB, in the order in which
// it was made. An entry is written before it is first sent and goes only with the server's answer.
"use strict";

self.queue = (() => {
  const NAME = "portaledger";

  const opened = () =>
    new Promise((resolve, reject) => {
      const asked = indexedDB.open(NAME, 1);
      asked.onupgradeneeded = () => {
        const entries = asked.result.createObjectStore("entries", {
          keyPath: "number",
          autoIncrement: true,
        });
        entries.createIndex("same", "same", { unique: true });
        asked.result.createObjectStore("facts");
      };
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });

  // One transaction; what `work` asks last is the answer. Closed each time: nothing may keep
  // somebody's entries from being deleted.
  async function during(mode, store, work) {
    const database = await opened();
    try {
      return await new Promise((resolve, reject) => {
        const transaction = database.transaction(store, mode);
        const asked = work(transaction.objectStore(store));
        transaction.oncomplete = () => resolve(asked?.result);
        transaction.onabort = transaction.onerror = () => reject(transaction.error);
      });
    } finally {
      database.close();
    }
  }

  const all = () => during("readonly", "entries", (entries) => entries.getAll());

  // Only what is still there: it may have been deleted while it was on its way.
  const change = (entry) =>
    during("readwrite", "entries", (entries) => {
      const there = entries.get(entry.number);
      there.onsuccess = () => there.result && entries.put(entry);
      return there;
    });

  const remove = (number) => during("readwrite", "entries", (entries) => entries.delete(number));
  const fact = (name) => during("readonly", "facts", (facts) => facts.get(name));
  const note = (name, value) => during("readwrite", "facts", (facts) => facts.put(value, name));

  // The same thing tapped again is the same entry, as it is for the server: key, address, content.
  async function add(entry) {
    let held = entry;
    await during("readwrite", "entries", (entries) => {
      const known = entries.index("same").get(entry.same);
      known.onsuccess = () => {
        if (known.result) held = anew(known.result, entry);
        const asked = entries.put(held);
        asked.onsuccess = () => { held.number = asked.result; };
      };
    });
    return held;
  }

  const anew = (known, entry) => ({
    ...known,
    again: known.again + 1,
    pairs: entry.pairs,
    state: known.state === "refused" ? "waiting" : known.state,
  });

  // Deletes what others left; gives back how many of those were not sent. In one transaction: what
  // is noted at this moment is either theirs and goes, or stays.
  async function removeOthers(person) {
    let lost = 0;
    await during("readwrite", "entries", (entries) => {
      const asked = entries.openCursor();
      asked.onsuccess = () => {
        const at = asked.result;
        if (!at) return;
        if (at.value.person !== person) {
          if (at.value.state !== "sent") lost += 1;
          at.delete();
        }
        at.continue();
      };
      return asked;
    });
    return lost;
  }

  async function wipe() {
    await during("readwrite", "entries", (entries) => entries.clear());
    await during("readwrite", "facts", (facts) => facts.clear());
  }

  return { all, change, remove, removeOthers, fact, note, add, wipe };
})();
