// What every page needs: entries that survive a lost network, local times, drop zones, forms that keep their text.
import { about, count, flush, list, drop, ready, record, retry, strangers } from './outbox.js';
import * as pictures from './pictures.js';

const outbox = document.getElementById('outbox');
const plural = (n, one, many) => `${n} ${n === 1 ? one : many}`;

function showOutbox() {
  const entries = list();
  const refused = entries.filter((e) => e.refused);
  const waiting = entries.length - refused.length;
  const shots = pictures.waiting().length;
  const others = strangers().length + pictures.ofOthers();
  const { signedOut, offset, durable } = about();
  outbox.hidden = !(entries.length || others || shots || pictures.refused().length);
  outbox.replaceChildren();
  if (waiting) outbox.append(`${plural(waiting, 'entry waits', 'entries wait')} for the server; kept here, sent again soon. `);
  if (shots) outbox.append(`${plural(shots, 'picture waits', 'pictures wait')} and will follow. `);
  if ((waiting || shots) && signedOut) {
    const link = document.createElement('a');
    link.href = `/sign-in?then=${location.pathname}`;
    link.textContent = 'Sign in to send.';
    outbox.append(link, ' ');
  }
  if (waiting && !durable) outbox.append('This browser does not let pages keep things: leave this page open until they are sent. ');
  if (offset) outbox.append(`This device's clock is ${plural(Math.round(Math.abs(offset) / 60000), 'minute', 'minutes')} ${offset < 0 ? 'fast' : 'slow'}; new entries get the server's time. `);
  if (others) outbox.append(`${plural(others, 'entry', 'entries')} of somebody else on this device wait until they sign in.`);
  for (const entry of refused) showRefused(`${entry.label}: ${entry.refused}`, async () => { await retry(entry.id); await flush(); }, () => drop(entry.id));
  for (const one of pictures.refused()) showRefused(`Picture of ${one.text.toLowerCase()}: ${one.refused}`, () => pictures.retry(one.id), () => pictures.discard(one.id));
}
function showRefused(words, sendAgain, discard) {
  const line = document.createElement('span');
  line.append(` ${words}`);
  const away = document.createElement('button');
  away.type = 'button';
  away.textContent = 'Discard it';
  away.addEventListener('click', discard);
  const again = document.createElement('button');
  again.type = 'button';
  again.textContent = 'Send again';
  again.addEventListener('click', sendAgain);
  outbox.append(line, again, away);
}
// Entries first; pictures follow and hold up none of them.
async function sendAll() {
  await flush();
  if (pictures.waiting().length) pictures.send();
}
addEventListener('outbox', showOutbox);
ready.then(() => { showOutbox(); if (count()) flush(); });
pictures.loaded.then(() => { if (pictures.waiting().length) sendAll(); });
addEventListener('online', sendAll);
document.addEventListener('visibilitychange', () => { if (!document.hidden) sendAll(); });
setInterval(() => { if (count() || pictures.waiting().length) sendAll(); }, 5000);

// The field pages are kept for when there is no network, where the browser grants it.
const keep = document.querySelector('meta[name="keep"]')?.content.split(' ').filter(Boolean) ?? [];
if ('serviceWorker' in navigator) {
  navigator.serviceWorker.addEventListener('message', (event) => {
    if (event.data?.kept) dispatchEvent(new CustomEvent('pages', { detail: event.data.kept }));
  });
  navigator.serviceWorker.register('/worker.js').then(() => navigator.serviceWorker.ready)
    .then((worker) => worker.active.postMessage({ keep })).catch(() => dispatchEvent(new Event('nopages')));
  navigator.storage?.persist?.();
}

// Times are stored in UTC and shown where the person is.
function localTimes(root) {
  for (const time of root.querySelectorAll('time[datetime]:not([data-shown])')) {
    const moment = new Date(time.dateTime);
    if (Number.isNaN(moment.valueOf())) continue;
    time.title = time.textContent;
    const day = 'clock' in time.dataset ? {} : { dateStyle: 'medium' }; // a list of one day needs no date
    time.textContent = moment.toLocaleString(undefined, { ...day, timeStyle: 'short' });
    time.dataset.shown = '';
  }
}
localTimes(document);
document.addEventListener('htmx:after:swap', () => localTimes(document));

// A table wider than the screen can be scrolled with the keyboard too.
for (const box of document.querySelectorAll('.scroll')) {
  new ResizeObserver(() => {
    if (box.scrollWidth > box.clientWidth) box.tabIndex = 0;
    else box.removeAttribute('tabindex');
  }).observe(box);
}

// A form that becomes a journal entry: kind and fields, sent through the outbox.
function typed(field) {
  if (field.type === 'checkbox') return field.checked;
  const text = field.value.trim();
  if (field.dataset.type === 'number') return text === '' ? null : Number(text);
  if (field.dataset.type === 'names') return text === '' ? [] : text.split(',').map((s) => s.trim()).filter(Boolean);
  return text;
}
document.addEventListener('submit', async (event) => {
  const form = event.target.closest('form[data-kind]');
  if (!form) return;
  event.preventDefault();
  const payload = {};
  for (const field of form.elements) {
    if (!field.name || field.name === 'when') continue;
    const value = typed(field);
    if (value !== null && value !== '' && !(Array.isArray(value) && !value.length)) payload[field.name] = value;
  }
  const when = form.elements.when?.value;
  const said = form.querySelector('[data-said]');
  const outcome = await record({
    quad: form.dataset.quad, kind: form.dataset.kind, payload,
    occurred: when ? new Date(when).toISOString() : undefined, label: form.dataset.label,
  }, { keepRefused: false });
  if (said) said.textContent = outcome.said;
  if (outcome.kept) {
    sessionStorage.setItem('again', form.closest('[id]')?.id ?? '');
    location.reload();
  }
  else if (!outcome.refused) form.reset();
});
// Until here a press would have gone nowhere, so the buttons waited.
for (const button of document.querySelectorAll('form[data-kind] button')) button.disabled = false;

// After an entry the page is a new one; whoever uses the keyboard goes on where they were.
const again = sessionStorage.getItem('again');
sessionStorage.removeItem('again');
const place = again && document.getElementById(again);
if (place) {
  const to = (place.matches('details') && place.querySelector('summary')) || place.querySelector('button') || place;
  if (to === place) place.tabIndex = -1;
  to.focus();
}

for (const button of document.querySelectorAll('[data-print]')) {
  button.disabled = false;
  button.addEventListener('click', () => print());
}

// A file dropped on a zone lands in its file field and is sent.
for (const zone of document.querySelectorAll('.drop')) {
  const input = zone.querySelector('input[type="file"]');
  if (!input) continue;
  const stop = (event) => { event.preventDefault(); zone.classList.toggle('over', event.type === 'dragover'); };
  zone.addEventListener('dragover', stop);
  zone.addEventListener('dragleave', stop);
  zone.addEventListener('drop', (event) => {
    stop(event);
    input.files = event.dataTransfer.files;
    zone.closest('form')?.requestSubmit();
  });
}

// A page with typed text asks before it is left.
for (const form of document.querySelectorAll('form[data-guard]')) {
  let dirty = false;
  form.addEventListener('input', () => { dirty = true; });
  form.addEventListener('submit', () => { dirty = false; });
  addEventListener('beforeunload', (event) => { if (dirty) event.preventDefault(); });
}

if (document.querySelector('.model[data-glb]:not([data-replay])')) import('./view3d.js');
if (document.querySelector('.model[data-replay]')) import('./replay.js');
if (document.querySelector('[data-spectrum]')) import('./spectrum.js');
if (document.getElementById('ask')) import('./new.js');
