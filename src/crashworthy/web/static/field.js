// The field page: first tap opens a row, second tap makes the entry; each of today's can be taken back.
import { list, ready, record } from './outbox.js';
import { discard, take, waiting as waitingPictures } from './pictures.js';

const root = document.querySelector('[data-field]');
const quad = root.dataset.field;
const said = document.getElementById('said');
const undo = document.getElementById('undo');
const shoot = document.getElementById('shoot');
const camera = shoot.querySelector('input');
const reach = document.getElementById('reach');
const pads = [...root.querySelectorAll('[data-pad]')];
const SHOWN = 6;
let last = null;

function open(pad) {
  for (const other of pads) {
    const on = other === pad && other.getAttribute('aria-expanded') !== 'true';
    other.setAttribute('aria-expanded', String(on));
    document.getElementById(other.getAttribute('aria-controls')).hidden = !on;
  }
}
function close() {
  const pad = pads.find((p) => p.getAttribute('aria-expanded') === 'true');
  const within = pad && document.getElementById(pad.getAttribute('aria-controls')).contains(document.activeElement);
  open(null);
  if (within) pad.focus(); // what had the focus is gone; go on from where its row was opened
}

async function refresh() {
  const answer = await fetch(`${location.pathname}/now`, { headers: { 'hx-request': 'true' } }).catch(() => null);
  if (answer?.ok) {
    const parts = document.createElement('template');
    parts.innerHTML = await answer.text();
    for (const part of parts.content.querySelectorAll('[data-part]')) document.getElementById(part.dataset.part).replaceChildren(...part.childNodes);
    document.dispatchEvent(new Event('htmx:after:swap')); // local times
    showDay();
  }
}

const plural = (n, one, many) => `${n} ${n === 1 ? one : many}`;

// Today, where the page is read: what the server knew and what still waits here.
function showDay() {
  const day = document.getElementById('day');
  const recent = document.getElementById('recent');
  const waiting = list().filter((e) => e.quad === quad && !e.refused);
  const gone = new Set(waiting.filter((e) => e.kind === 'retraction').map((e) => e.payload.target));
  const midnight = new Date().setHours(0, 0, 0, 0);
  for (const row of recent.querySelectorAll('li.waits')) row.remove();
  const known = new Set([...recent.children].map((row) => row.dataset.id));
  for (const entry of waiting) {
    if (entry.kind === 'retraction' || gone.has(entry.id) || known.has(entry.id)) continue;
    const row = document.createElement('li');
    row.className = 'waits';
    Object.assign(row.dataset, { id: entry.id, kind: entry.kind, when: entry.occurred });
    const words = document.createElement('span');
    words.textContent = entry.label;
    const note = document.createElement('span');
    note.className = 'small soft';
    note.textContent = 'on this device, not sent yet';
    row.append(words, note);
    recent.prepend(row);
  }
  for (const picture of waitingPictures()) {
    if (picture.quad !== quad || known.has(picture.id) || gone.has(picture.id)) continue;
    const row = document.createElement('li');
    row.className = 'waits';
    Object.assign(row.dataset, { id: picture.id, kind: 'photo', when: picture.occurred, stays: '' });
    const words = document.createElement('span');
    words.textContent = `Picture: ${picture.text}`;
    const note = document.createElement('span');
    note.className = 'small soft';
    note.textContent = 'on this device, not sent yet';
    const away = document.createElement('button');
    away.type = 'button';
    away.className = 'plain';
    away.textContent = 'Discard';
    away.addEventListener('click', () => discard(picture.id));
    row.append(words, note, away);
    recent.prepend(row);
  }
  const counts = {};
  let shown = 0;
  for (const row of recent.children) {
    const counted = !gone.has(row.dataset.id) && Date.parse(row.dataset.when) >= midnight && row.dataset.kind !== 'retraction';
    if (counted) counts[row.dataset.kind] = (counts[row.dataset.kind] ?? 0) + 1;
    shown += counted ? 1 : 0;
    row.hidden = !counted || shown > SHOWN;
    if (!row.hidden && !('stays' in row.dataset) && !row.querySelector('button')) {
      const back = document.createElement('button');
      back.type = 'button';
      back.className = 'plain';
      back.dataset.undo = row.dataset.id;
      back.dataset.label = row.firstElementChild.textContent;
      back.textContent = 'Undo';
      const what = document.createElement('span');
      what.className = 'hush';
      what.textContent = ` ${row.firstElementChild.textContent}`;
      back.append(what);
      row.append(back);
    }
  }
  const bits = [['pack', 'pack', 'packs'], ['crash', 'crash', 'crashes'], ['check', 'check', 'checks']]
    .filter(([kind]) => counts[kind]).map(([kind, one, many]) => plural(counts[kind], one, many));
  const rest = Object.entries(counts).filter(([kind]) => !['pack', 'crash', 'check'].includes(kind)).reduce((n, [, c]) => n + c, 0);
  if (rest) bits.push(plural(rest, 'other entry', 'other entries'));
  const unseen = waiting.filter((e) => !known.has(e.id)).length;
  day.textContent = bits.length ? `${bits.join(', ')}.` : 'No entry yet.';
  const old = Date.now() - Date.parse(day.dataset.asked) > 600000;
  if (unseen) day.textContent += ` The bars do not know of ${plural(unseen, 'entry', 'entries')} on this device yet.`;
  else if (old) day.textContent += ` The bars are from ${new Date(day.dataset.asked).toLocaleString(undefined, { dateStyle: 'medium', timeStyle: 'short' })}.`;
}

async function enter(kind, payload, label) {
  close();
  said.textContent = `${label} …`;
  const saved = () => { said.textContent = `${label} is kept on this device.`; };
  const outcome = await record({ quad, kind, payload, label }, { saved });
  said.textContent = outcome.said;
  last = outcome.refused || kind === 'retraction' ? null : { id: outcome.id, label, kind };
  undo.hidden = last === null;
  shoot.hidden = !['crash', 'check'].includes(last?.kind);
}

// A picture of the last crash or finding: an entry of its own, kept here until the server has it.
camera.addEventListener('change', async () => {
  const file = camera.files[0];
  camera.value = ''; // the same one may be taken again
  if (file && last) said.textContent = (await take(file, { after: last.id, quad, label: last.label })).said;
});

for (const pad of pads) {
  pad.addEventListener('click', (event) => {
    open(pad);
    // A click without a pointer is a key: the row that opens stands before its pad, so go there.
    const row = document.getElementById(pad.getAttribute('aria-controls'));
    if (event.detail === 0 && !row.hidden) row.querySelector('button').focus();
  });
}
root.addEventListener('click', (event) => {
  const button = event.target.closest('button');
  if (button?.dataset.kind) enter(button.dataset.kind, JSON.parse(button.dataset.payload), button.dataset.label);
  if (button?.dataset.undo) takeBack(button.dataset.undo, button.dataset.label);
});
function takeBack(target, label) {
  enter('retraction', { target, why: 'undone at the field' }, `Undo of ${label.toLowerCase()}`);
}
undo.addEventListener('click', () => { if (last) takeBack(last.id, last.label); });

addEventListener('kept', refresh);
addEventListener('outbox', showDay);
addEventListener('pages', () => { reach.textContent = 'This page opens without a network too. Entries are kept on this device until the server has them.'; });
function noPages() { reach.textContent = 'Without a network this page works only while it stays open: the browser keeps no page here. Entries are kept on this device until the server has them.'; }
addEventListener('nopages', noPages);
if (!('serviceWorker' in navigator)) noPages(); // plain http under a network name
for (const pad of pads) pad.disabled = false; // only now does a tap do something
addEventListener('keydown', (event) => { if (event.key === 'Escape') close(); });
ready.then(showDay);
