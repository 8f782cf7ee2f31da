// Keeps the last checkpoint this browser saw and proves, at the next visit, that the history only
// grew since: RFC 9162 section 2.1.4.2. What the server says of itself is not enough for that.
"use strict";

const KEY = "history-seen";
const bytes = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
const same = (a, b) => a.length === b.length && a.every((one, at) => one === b[at]);

async function node(left, right) {
  const joined = new Uint8Array(65);
  joined[0] = 1;
  joined.set(left, 1);
  joined.set(right, 33);
  return new Uint8Array(await crypto.subtle.digest("SHA-256", joined));
}

// BigInt: bit operations on numbers stop at 32 bits.
async function grew(older, newer, proof) {
  const oldRoot = bytes(older.root), newRoot = bytes(newer.root);
  const from = BigInt(older.size), to = BigInt(newer.size);
  if (from > to) return false;
  if (from === to) return proof.length === 0 && same(oldRoot, newRoot);
  if (from === 0n) return proof.length === 0;
  const path = proof.map(bytes);
  if (path.some((step) => step.length !== 32)) return false;
  if ((from & (from - 1n)) === 0n) path.unshift(oldRoot);
  if (path.length === 0) return false;
  let here = from - 1n, last = to - 1n;
  while (here & 1n) { here >>= 1n; last >>= 1n; }
  let first = path[0], second = path[0];
  for (const step of path.slice(1)) {
    if (last === 0n) return false;
    if ((here & 1n) || here === last) {
      first = await node(step, first);
      second = await node(step, second);
      while (here && !(here & 1n)) { here >>= 1n; last >>= 1n; }
    } else {
      second = await node(second, step);
    }
    here >>= 1n;
    last >>= 1n;
  }
  return last === 0n && same(first, oldRoot) && same(second, newRoot);
}

function show(place, state, kept) {
  for (const part of place.querySelectorAll("[data-ledger-state]")) {
    part.hidden = part.dataset.ledgerState !== state;
  }
  for (const part of place.querySelectorAll("[data-ledger-kept]")) part.textContent = kept?.size;
  if (state === "broken") {
    const note = place.querySelector("[data-ledger-state=broken-note]");
    note.querySelector("pre").textContent = kept.note;
    note.hidden = false;
    offerToForget(place);
  }
}

function offerToForget(place) {
  const button = place.querySelector("[data-ledger-forget]");
  button.hidden = false;
  button.addEventListener("click", () => {
    localStorage.removeItem(KEY);
    location.reload();
  });
}

async function proofOf(place, older, newer) {
  if (older.size >= newer.size) return [];
  const answer = await fetch(`${place.dataset.ledgerUrl}?from=${older.size}&to=${newer.size}`);
  if (!answer.ok) throw new Error(answer.status);
  return (await answer.json()).proof;
}

async function compare(place) {
  const newer = {
    origin: place.dataset.ledgerOrigin,
    size: Number(place.dataset.ledgerSize),
    root: place.dataset.ledgerRoot,
    note: document.querySelector("#note").textContent,
  };
  const kept = JSON.parse(localStorage.getItem(KEY) ?? "null");
  if (!kept) {
    localStorage.setItem(KEY, JSON.stringify(newer));
    return show(place, "first");
  }
  // Whoever started the history anew would give it a new name: that too is not what was seen.
  const holds = kept.origin === newer.origin
    && await grew(kept, newer, await proofOf(place, kept, newer));
  if (holds) localStorage.setItem(KEY, JSON.stringify(newer)); // what is broken stays kept
  return show(place, holds ? "holds" : "broken", kept);
}

const place = document.querySelector("[data-ledger-origin]");
if (place && globalThis.crypto?.subtle) {
  compare(place).catch(() => show(place, "failed"));
}
