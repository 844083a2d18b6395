// Pictures taken without a network: each waits here as it was taken, is sent after the entry that it belongs to,
// and is forgotten only when the server has named the digest of the very bytes that came. A picture that cannot be
// sent blocks neither entries nor other pictures.
import { openDB } from './vendor/idb.js';
import { list, maker, outside, ready } from './outbox.js';

export const MOST = 30;
export const LARGEST = 20 * 1024 * 1024;
const ROOM = 300 * 1024 * 1024;
const KINDS = ['image/jpeg', 'image/png', 'image/webp'];

let pictures = []; // what the database holds
let sending = null;
const others = 'BroadcastChannel' in globalThis ? new BroadcastChannel('pictures') : null;
const tell = () => dispatchEvent(new Event('outbox'));

// A database of its own: raising the version of the entries' would shut an older page out of them.
const database = openDB('crashworthy-pictures', 1, {
  upgrade(db) { db.createObjectStore('pictures', { keyPath: 'id' }); },
  blocking(_old, _new, event) { event.target.close(); },
}).catch(() => null);

async function load() {
  const db = await database;
  if (db) pictures = await db.getAll('pictures');
  tell();
}
export const loaded = load();
others?.addEventListener('message', load);

async function change(work) {
  const db = await database;
  if (!db) throw new Error('no database');
  const made = db.transaction('pictures', 'readwrite', { durability: 'strict' });
  await Promise.all([work(made.store), made.done]);
  await load();
  others?.postMessage(0);
}
const put = (picture) => change((store) => store.put(picture));
export const discard = (id) => change((store) => store.delete(id));

const mine = (p) => (p.person ?? '') === maker().person;
export const waiting = () => pictures.filter((p) => mine(p) && !p.refused);
export const refused = () => pictures.filter((p) => mine(p) && p.refused);
export const ofOthers = () => pictures.filter((p) => !mine(p)).length;

async function digest(blob) {
  // Plain http under a network name has no digest; there the number of bytes must do.
  if (!globalThis.crypto?.subtle) return null;
  const sum = await crypto.subtle.digest('SHA-256', await blob.arrayBuffer());
  return Array.from(new Uint8Array(sum), (b) => b.toString(16).padStart(2, '0')).join('');
}

// Keep what was taken; says in words what became of it.
export async function take(file, { after, quad, label }) {
  await loaded;
  if (!KINDS.includes(file.type)) return { said: 'Not kept: a picture is a JPEG, PNG or WebP file.' };
  if (!file.size || file.size > LARGEST) return { said: `Not kept: a picture may have 20 MB, this one has ${(file.size / 1e6).toFixed(0)}.` };
  const held = pictures.reduce((sum, p) => sum + p.blob.size, 0);
  if (pictures.length >= MOST || held + file.size > ROOM) return { said: `Not kept: ${pictures.length} pictures wait on this device already; send those first.` };
  const picture = { ...maker(), after, quad, text: label, blob: new Blob([file], { type: file.type }), tries: 0 };
  try { await put(picture); } catch { return { said: 'Not kept: this device has no room for the picture. The entry itself is kept.' }; }
  send();
  return { id: picture.id, said: `Picture of ${label.toLowerCase()} is kept on this device.` };
}

async function sendOne(picture) {
  // 'kept', 'later' (the server is there but not ready for it), 'away' (no network), or the reason of a refusal.
  const { id, quad, device, device_seq, occurred, text, blob, crew } = picture;
  const form = new FormData();
  form.append('entry', JSON.stringify({ id, quad, device, device_seq, occurred, text }));
  form.append('file', blob, 'picture');
  let answer;
  let body;
  try {
    answer = await fetch('/api/photos', {
      method: 'POST', body: form, headers: crew ? { 'x-crew': crew } : {}, signal: AbortSignal.timeout(120000),
    });
    body = await answer.json();
  } catch (problem) { return problem.name === 'TimeoutError' || problem instanceof SyntaxError ? 'later' : 'away'; }
  outside(answer.status === 401);
  if (answer.status === 401) return 'away';
  if (answer.status === 408 || answer.status === 429 || answer.status >= 500) return 'later';
  if (answer.ok) {
    const own = await digest(blob);
    const same = body.id === id && body.bytes === blob.size && (own === null || body.received === own);
    return same ? 'kept' : 'later'; // what came is not what was sent: once more
  }
  return (body.problems ?? []).map((p) => [p.field, p.what, p.remedy && `(${p.remedy})`].filter(Boolean).join(' ')).join('; ') || `refused with status ${answer.status}`;
}

async function sendNow() {
  await Promise.all([ready, loaded]);
  await load();
  let kept = 0;
  // Those that failed before come last, so that none of them stands in the way.
  for (const picture of waiting().sort((a, b) => a.tries - b.tries || (a.id < b.id ? -1 : 1))) {
    if (list().some((e) => e.id === picture.after && !e.refused)) continue; // its entry goes first
    const word = await sendOne(picture);
    if (word === 'away') break;
    if (word === 'kept') { await discard(picture.id); kept += 1; }
    else if (word === 'later') await put({ ...picture, tries: picture.tries + 1 });
    else await put({ ...picture, refused: word });
  }
  if (kept) dispatchEvent(new CustomEvent('kept', { detail: new Map() }));
}

export function send() {
  sending ??= (navigator.locks ? navigator.locks.request('pictures', sendNow) : sendNow()).catch(() => {}).finally(() => { sending = null; });
  return sending;
}
export async function retry(id) {
  const picture = pictures.find((p) => p.id === id);
  if (picture) { await put({ ...picture, refused: undefined, tries: 0 }); await send(); }
}
addEventListener('kept', (event) => { if (event.detail?.size && waiting().length) send(); }); // its entry arrived
