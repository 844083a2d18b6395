// A new quad: after each answer, what the answers give is looked at again and the model takes its new shape.
const form = document.getElementById('ask');
const look = document.getElementById('look');
const box = document.querySelector('.growing .model');
const drop = document.getElementById('dropform');
document.documentElement.classList.add('js');

let waiting = 0;
let latest = 0;
async function show() {
  const filled = [...new FormData(form)].filter(([, value]) => value !== '');
  const query = new URLSearchParams(filled).toString();
  history.replaceState(null, '', query ? `/new?${query}` : '/new');
  drop.action = `/new/drop?back=${encodeURIComponent(query)}`;
  latest += 1;
  const mine = latest;
  const answer = await fetch(`/new/look?${query}`).catch(() => null);
  if (!answer?.ok || mine !== latest) return;
  const open = [...look.querySelectorAll('details')].map((d) => d.open);
  look.innerHTML = await answer.text();
  look.querySelectorAll('details').forEach((d, i) => { if (open[i] !== undefined) d.open = open[i]; });
  const wrong = new Set([...look.querySelectorAll('.refused .where')].map((e) => e.textContent.trim()));
  for (const field of form.elements) if (field.id) field.toggleAttribute('aria-invalid', wrong.has(field.id));
  box.dispatchEvent(new CustomEvent('model', { detail: `/new/model.glb?${query}` }));
}
// Choices for dropped files stand below the form but belong to it.
document.addEventListener('input', (event) => {
  if (event.target.form !== form) return;
  clearTimeout(waiting);
  waiting = setTimeout(show, 350);
});

// A file let go anywhere on the page is taken; otherwise the browser would open it and leave what was typed.
const input = document.getElementById('file');
document.addEventListener('dragover', (event) => {
  if (event.dataTransfer?.types.includes('Files')) event.preventDefault();
});
document.addEventListener('drop', (event) => {
  if (!event.dataTransfer?.files.length) return;
  event.preventDefault();
  input.files = event.dataTransfer.files;
  drop.requestSubmit();
});
