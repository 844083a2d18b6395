// Entries are kept here before they are sent and forgotten only when the server has acknowledged them.
// Ids are made here, so that a double tap, a retry or a lost answer cannot make two entries of one.
const KEY = 'crashworthy.outbox';
let flushing = null;

export function uuid7(now = Date.now()) {
  // RFC 9562 version 7; getRandomValues also exists on plain http, randomUUID does not.
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  for (let i = 0, left = now; i < 6; i += 1, left = Math.floor(left / 256)) bytes[5 - i] = left % 256;
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (b) => b.toString(16).padStart(2, '0')).join('');
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}

function device() {
  // Who entered it: one name for this browser, and numbers that rise, also with two pages open at once.
  const key = 'crashworthy.device';
  const known = localStorage.getItem(key);
  if (known) return known;
  const made = `web-${uuid7().slice(24)}`;
  localStorage.setItem(key, made);
  return made;
}
const number = () => Date.now() * 1000 + (crypto.getRandomValues(new Uint16Array(1))[0] % 1000);

export function list() {
  try { return JSON.parse(localStorage.getItem(KEY)) ?? []; } catch { return []; }
}
function save(entries) {
  localStorage.setItem(KEY, JSON.stringify(entries));
  dispatchEvent(new Event('outbox'));
}
export const count = () => list().filter((e) => !e.refused).length;
export const drop = (id) => save(list().filter((e) => e.id !== id));
export const retry = (id) => save(list().map((e) => (e.id === id ? { ...e, refused: undefined } : e)));

async function send(entry) {
  // 'kept', 'later', or the reason why it was refused.
  let answer;
  try {
    answer = await fetch(`/api/quads/${encodeURIComponent(entry.quad)}/events`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify({ id: entry.id, device: entry.device, device_seq: entry.device_seq, kind: entry.kind, occurred: entry.occurred, payload: entry.payload }),
      signal: AbortSignal.timeout(10000),
    });
  } catch { return 'later'; }
  if (answer.ok) return 'kept';
  if (answer.status >= 500 || answer.status === 408 || answer.status === 429) return 'later';
  try {
    const { problems } = await answer.json();
    return problems.map((p) => [p.field, p.what, p.remedy && `(${p.remedy})`].filter(Boolean).join(' ')).join('; ');
  } catch { return `refused with status ${answer.status}`; }
}

export function flush() {
  flushing ??= (async () => {
    const outcomes = new Map();
    for (const entry of list()) {
      if (entry.refused) continue;
      const outcome = await send(entry);
      outcomes.set(entry.id, outcome);
      if (outcome === 'kept') drop(entry.id);
      // A refused entry is kept with its reason and does not block the others.
      else if (outcome !== 'later') save(list().map((e) => (e.id === entry.id ? { ...e, refused: outcome } : e)));
    }
    if ([...outcomes.values()].includes('kept')) dispatchEvent(new CustomEvent('kept', { detail: outcomes }));
    return outcomes;
  })().finally(() => { flushing = null; });
  return flushing;
}

export async function record({ quad, kind, payload, occurred, label }, { keepRefused = true } = {}) {
  const entry = { id: uuid7(), device: device(), device_seq: number(), quad, kind, payload, occurred: occurred ?? new Date().toISOString(), label };
  save([...list(), entry]);
  let outcome = (await flush()).get(entry.id);
  outcome ??= (await flush()).get(entry.id); // a flush already under way did not know of this entry
  if (outcome === 'kept') return { id: entry.id, kept: true, said: `${label} is in the journal.` };
  if (outcome === 'later' || outcome === undefined) return { id: entry.id, kept: false, said: `${label} is kept on this device and will be sent.` };
  if (!keepRefused) drop(entry.id); // the form still holds what was typed
  return { id: entry.id, kept: false, refused: true, said: `Not accepted: ${outcome}` };
}
