// The field page: first tap opens a row, second tap makes the entry; the last one can be taken back.
import { record } from './outbox.js';

const root = document.querySelector('[data-field]');
const quad = root.dataset.field;
const said = document.getElementById('said');
const undo = document.getElementById('undo');
const pads = [...root.querySelectorAll('[data-pad]')];
let last = null;

function open(pad) {
  for (const other of pads) {
    const on = other === pad && other.getAttribute('aria-expanded') !== 'true';
    other.setAttribute('aria-expanded', String(on));
    document.getElementById(other.getAttribute('aria-controls')).hidden = !on;
  }
}
function close() { open(null); }

async function refresh() {
  const answer = await fetch(`${location.pathname}/now`, { headers: { 'hx-request': 'true' } }).catch(() => null);
  if (answer?.ok) document.getElementById('now').innerHTML = await answer.text();
}

async function enter(kind, payload, label) {
  close();
  said.textContent = `${label} …`;
  const outcome = await record({ quad, kind, payload, label });
  said.textContent = outcome.said;
  last = outcome.refused || kind === 'retraction' ? null : { id: outcome.id, label };
  undo.hidden = last === null;
}

for (const pad of pads) pad.addEventListener('click', () => open(pad));
root.addEventListener('click', (event) => {
  const button = event.target.closest('button[data-kind]');
  if (button) enter(button.dataset.kind, JSON.parse(button.dataset.payload), button.dataset.label);
});
undo.addEventListener('click', () => {
  const target = undo.dataset.target || last?.id;
  const label = undo.dataset.label || last?.label;
  undo.dataset.target = '';
  if (target) enter('retraction', { target, why: 'undone at the field' }, `Undo of ${label.toLowerCase()}`);
});
addEventListener('kept', refresh);
for (const pad of pads) pad.disabled = false; // only now does a tap do something
addEventListener('keydown', (event) => { if (event.key === 'Escape') close(); });
