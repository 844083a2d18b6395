// A picture from this device on a canvas: a click says which pixel a corner stands at. Nothing is sent but numbers.
const form = document.querySelector('form[data-mark]');
if (form) {
  const canvas = form.querySelector('[data-canvas]');
  const field = (name) => form.elements[name];
  let picture = null;

  function draw() {
    if (!picture) return;
    const pen = canvas.getContext('2d');
    pen.drawImage(picture, 0, 0);
    const size = Math.max(10, canvas.width / 60);
    pen.lineWidth = Math.max(1, canvas.width / 600);
    const corner = field('corner')?.selectedOptions[0];
    if (corner?.dataset.right) {
      // Where the corner should stand with the pupil as the sheet has it.
      const x = ((Number(corner.dataset.right) + 1) / 2) * canvas.width;
      const y = (canvas.height - Number(corner.dataset.up) * canvas.width) / 2;
      for (const [style, wide] of [['#fff', 3], ['#000', 1]]) {
        pen.strokeStyle = style;
        pen.lineWidth = wide * Math.max(1, canvas.width / 900);
        pen.setLineDash([size / 3, size / 3]);
        pen.strokeRect(x - size, y - size, 2 * size, 2 * size);
      }
    }
    pen.setLineDash([]);
    const column = Number(field('column').value);
    const row = Number(field('row').value);
    if (field('column').value === '' || field('row').value === '') return;
    for (const [style, wide] of [['#fff', 3], ['#000', 1]]) {
      pen.strokeStyle = style;
      pen.lineWidth = wide * Math.max(1, canvas.width / 900);
      pen.beginPath();
      pen.moveTo(column + 0.5 - size, row + 0.5);
      pen.lineTo(column + 0.5 + size, row + 0.5);
      pen.moveTo(column + 0.5, row + 0.5 - size);
      pen.lineTo(column + 0.5, row + 0.5 + size);
      pen.stroke();
    }
  }

  form.querySelector('[data-picture]').addEventListener('change', async (event) => {
    const file = event.target.files[0];
    if (!file) return;
    picture = await createImageBitmap(file);
    canvas.width = picture.width;
    canvas.height = picture.height;
    field('columns').value = picture.width;
    field('rows').value = picture.height;
    canvas.hidden = false;
    draw();
  });
  canvas.addEventListener('click', (event) => {
    const box = canvas.getBoundingClientRect();
    field('column').value = Math.floor(((event.clientX - box.left) / box.width) * canvas.width);
    field('row').value = Math.floor(((event.clientY - box.top) / box.height) * canvas.height);
    draw();
  });
  // The arrow keys move the mark by one pixel.
  canvas.addEventListener('keydown', (event) => {
    const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!step) return;
    event.preventDefault();
    field('column').value = Number(field('column').value || canvas.width / 2) + step[0];
    field('row').value = Number(field('row').value || canvas.height / 2) + step[1];
    draw();
  });
  for (const name of ['column', 'row', 'corner']) field(name)?.addEventListener('change', draw);
}
