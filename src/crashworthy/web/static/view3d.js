// The quad in 3D: point at a part, or at a point of a strike map, to read of it.
import { stage } from './stage.js';

const box = document.querySelector('.model[data-glb]');
const words = box.querySelector('.pick');
const rest = words.textContent;
const shares = JSON.parse(box.dataset.words || '{}');

function say(info) {
  if (!info) words.textContent = rest;
  else if (info.mass === undefined) words.textContent = info.label;
  else words.textContent = `${info.label}, ${(1000 * info.mass).toFixed(1)} g${shares[info.name] ? `, ${shares[info.name]}` : ''}`;
}

stage(box, say).then((seen) => box.addEventListener('model', (event) => seen.swap(event.detail).catch(() => {}))).catch((problem) => {
  box.dataset.failed = String(problem);
  words.textContent = 'The 3D view cannot be shown in this browser; the drawing below shows the same parts.';
});
