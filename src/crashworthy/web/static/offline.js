// Which field pages are on this device.
const list = document.getElementById('kept');
const shelf = await caches.open('pages');
const paths = (await shelf.keys()).map((r) => new URL(r.url).pathname).sort();
if (paths.length) {
  list.replaceChildren(...paths.map((path) => {
    const item = document.createElement('li');
    const link = document.createElement('a');
    link.href = path;
    link.textContent = `Field, ${decodeURIComponent(path.split('/')[2])}`;
    item.append(link);
    return item;
  }));
}
document.getElementById('again').addEventListener('click', () => location.reload());
addEventListener('online', () => location.reload());
