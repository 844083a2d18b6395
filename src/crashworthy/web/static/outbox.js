// Entries are kept here before they are sent, and forgotten only when the server has acknowledged them.
// Ids are made here, so that a double tap, a retry or a lost answer cannot make two entries of one.
// The outbox belongs to a person: what somebody else of the crew left on this phone waits until they sign in.
import { openDB } from './vendor/idb.js';

const BATCH = 50;
const meta = (name) => document.querySelector(`meta[name="${name}"]`)?.content ?? '';
const person = meta('person');
const crew = meta('crew');

let entries = []; // what IndexedDB holds, for pages that draw; the database is the truth
let flushing = null;
const state = { signedOut: false, offset: 0, durable: true };

const others = 'BroadcastChannel' in globalThis ? new BroadcastChannel('outbox') : null;
const tell = () => dispatchEvent(new Event('outbox'));

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
  // Who entered it: one name for this browser and whoever is signed in on it, and numbers that rise, also
  // with two pages open at once.
  const key = person ? `crashworthy.device.${person}` : 'crashworthy.device';
  const known = localStorage.getItem(key);
  if (known) return known;
  const made = `web-${uuid7().slice(24)}`;
  localStorage.setItem(key, made);
  return made;
}
const number = () => Date.now() * 1000 + (crypto.getRandomValues(new Uint16Array(1))[0] % 1000);

// What every entry of this browser bears: an id, who made it, where, when.
export function maker(occurred) {
  const stamped = occurred ?? new Date(Date.now() + state.offset).toISOString();
  return { id: uuid7(), device: device(), device_seq: number(), occurred: stamped, person, crew };
}
export function outside(signedOut) { state.signedOut = signedOut; }

const database = openDB('crashworthy', 1, {
  upgrade(db) { db.createObjectStore('entries', { keyPath: 'id' }); },
  blocking(_old, _new, event) { event.target.close(); },
}).catch(() => { state.durable = false; return null; });

async function load() {
  const db = await database;
  if (db) entries = await db.getAll('entries'); // ids begin with the time, so they come in order
  tell();
}
export const ready = load();
others?.addEventListener('message', load);

async function put(...changed) {
  const db = await database;
  if (db) {
    const change = db.transaction('entries', 'readwrite', { durability: 'strict' });
    await Promise.all([...changed.map((e) => change.store.put(e)), change.done]);
  }
  const ids = new Set(changed.map((e) => e.id));
  entries = [...entries.filter((e) => !ids.has(e.id)), ...changed].sort((a, b) => (a.id < b.id ? -1 : 1));
  others?.postMessage(0);
  tell();
}
export async function drop(...ids) {
  const db = await database;
  if (db) {
    const change = db.transaction('entries', 'readwrite', { durability: 'strict' });
    await Promise.all([...ids.map((id) => change.store.delete(id)), change.done]);
  }
  entries = entries.filter((e) => !ids.includes(e.id));
  others?.postMessage(0);
  tell();
}

const mine = (e) => (e.person ?? '') === person;
export const list = () => entries.filter(mine);
export const strangers = () => entries.filter((e) => !mine(e));
export const count = () => list().filter((e) => !e.refused).length;
export const about = () => ({ ...state });
export const retry = (id) => put(...list().filter((e) => e.id === id).map((e) => ({ ...e, refused: undefined })));

function wire(e) {
  return { id: e.id, quad: e.quad, device: e.device, device_seq: e.device_seq, kind: e.kind, occurred: e.occurred, payload: e.payload };
}

async function answerOf(part) {
  // The server's word on some entries: a map from id to 'kept' or the reason of a refusal; null for "later".
  let answer;
  const sent = Date.now();
  try {
    answer = await fetch('/api/events', {
      method: 'POST',
      headers: { 'content-type': 'application/json', ...(part[0].crew ? { 'x-crew': part[0].crew } : {}) },
      body: JSON.stringify({ events: part.map(wire) }),
      signal: AbortSignal.timeout(15000),
    });
  } catch { return null; }
  state.signedOut = answer.status === 401;
  if (answer.status === 401 || answer.status === 408 || answer.status === 429 || answer.status >= 500) return null;
  let body;
  try { body = await answer.json(); } catch { return null; } // cut off on the way: ask again
  if (answer.ok) {
    const offset = Date.parse(body.now) - (sent + Date.now()) / 2;
    state.offset = Math.abs(offset) > 30000 ? offset : 0;
    const said = new Map([...body.accepted, ...body.duplicate].map((id) => [id, 'kept']));
    for (const { id, reason } of body.rejected) said.set(id, reason);
    return said;
  }
  const why = (body.problems ?? []).map((p) => [p.field, p.what, p.remedy && `(${p.remedy})`].filter(Boolean).join(' ')).join('; ') || `refused with status ${answer.status}`;
  if (part.length === 1) return new Map([[part[0].id, why]]);
  // Something in this batch cannot be read at all: halve it until the culprit stands alone.
  const half = Math.ceil(part.length / 2);
  const both = [await answerOf(part.slice(0, half)), await answerOf(part.slice(half))];
  return both.includes(null) ? null : new Map([...both[0], ...both[1]]);
}

async function flushNow() {
  await load();
  const outcomes = new Map();
  const waiting = list().filter((e) => !e.refused);
  const crews = [...new Set(waiting.map((e) => e.crew ?? ''))];
  for (const one of crews) {
    const all = waiting.filter((e) => (e.crew ?? '') === one);
    for (let at = 0; at < all.length; at += BATCH) {
      const part = all.slice(at, at + BATCH);
      const said = await answerOf(part);
      if (said === null) { for (const e of part) outcomes.set(e.id, 'later'); break; }
      for (const [id, word] of said) outcomes.set(id, word);
      await drop(...part.filter((e) => said.get(e.id) === 'kept').map((e) => e.id));
      // A refused entry is kept with its reason and does not block the others.
      await put(...part.filter((e) => said.has(e.id) && said.get(e.id) !== 'kept').map((e) => ({ ...e, refused: said.get(e.id) })));
    }
  }
  tell();
  if ([...outcomes.values()].includes('kept')) dispatchEvent(new CustomEvent('kept', { detail: outcomes }));
  return outcomes;
}

export function flush() {
  // One page at a time where the browser can arrange it; elsewhere two may send, and ids keep that harmless.
  flushing ??= (navigator.locks ? navigator.locks.request('outbox', flushNow) : flushNow()).finally(() => { flushing = null; });
  return flushing;
}

export async function record({ quad, kind, payload, occurred, label }, { keepRefused = true, saved = () => {} } = {}) {
  await ready;
  const entry = { ...maker(occurred), quad, kind, payload, label };
  await put(entry);
  saved(entry);
  let outcome = (await flush()).get(entry.id);
  outcome ??= (await flush()).get(entry.id); // a flush already under way did not know of this entry
  if (outcome === 'kept') return { id: entry.id, kept: true, said: `${label} is in the journal.` };
  if (outcome === 'later' || outcome === undefined) return { id: entry.id, kept: false, said: `${label} is kept on this device and will be sent.` };
  if (!keepRefused) await drop(entry.id); // the form still holds what was typed
  return { id: entry.id, kept: false, refused: true, said: `Not accepted: ${outcome}` };
}
