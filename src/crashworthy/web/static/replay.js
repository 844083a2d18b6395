// A crash again in 3D: play, pause, step from contact to contact, at any speed. Time is that of the simulation.
import { stage } from './stage.js';

const box = document.querySelector('.model[data-replay]');
const words = box.querySelector('.pick');
const panel = document.querySelector('.player');
const part = (name) => panel.querySelector(`[data-part="${name}"]`);
const calm = matchMedia('(prefers-reduced-motion: reduce)');
const cursor = document.querySelector('.timeline .cursor');
const [LEFT, RIGHT] = [44, 332];

// What rides at an arm's tip turns by the arm's twist about its axis, through its mass.
function turn(node, [a, c], angle, moved) {
  const [w, s] = [Math.cos(angle / 2), Math.sin(angle / 2)];
  node.quaternion.set(s * a[1], s * a[2], s * a[0], w);
  const along = (a[0] * c[0] + a[1] * c[1] + a[2] * c[2]) * (1 - Math.cos(angle));
  const across = [a[1] * c[2] - a[2] * c[1], a[2] * c[0] - a[0] * c[2], a[0] * c[1] - a[1] * c[0]];
  place(node.position, moved.map((u, i) => u + c[i] * (1 - Math.cos(angle)) - across[i] * Math.sin(angle) - a[i] * along));
}

// Quad and world: x forward, y left, z up. glTF: z, x, y.
const place = (to, v) => to.set(v[1], v[2], v[0]);

async function start() {
  const data = await (await fetch(box.dataset.replay)).json();
  const rest = words.textContent;
  const show = await stage(box, (info) => { words.textContent = info ? info.label : rest; }, {
    framed: (all) => all.filter((m) => m.userData.info.kind !== 'obstacle'), from: JSON.parse(box.dataset.from), far: 1.25,
  });
  const quad = show.model.getObjectByName('quad');
  const obstacle = show.model.getObjectByName('obstacle');
  // What gives follows its limb, each vertex by its share; what moves whole is moved as a node.
  const whole = [];
  const skins = [];
  for (const [name, [limb, share]] of Object.entries(data.follow)) {
    const node = show.model.getObjectByName(name);
    if (!node) continue;
    if (share === 1) { whole.push({ node, limb }); continue; }
    node.traverse((piece) => {
      const at = piece.geometry?.attributes.position;
      if (!at) return;
      piece.frustumCulled = false;
      piece.morphTargetInfluences?.fill(0);
      const home = at.array.slice();
      let shares = share;
      let ways = data.turns[name];
      if (piece.isLineSegments) { // ink edges: each end lies on a vertex of the skin
        const skin = piece.parent.geometry.attributes.position.array;
        const known = new Map();
        share.forEach((_, i) => known.set(`${skin[3 * i]},${skin[3 * i + 1]},${skin[3 * i + 2]}`, i));
        const own = Array.from({ length: at.count }, (_, i) => known.get(`${home[3 * i]},${home[3 * i + 1]},${home[3 * i + 2]}`));
        shares = own.map((i) => share[i] ?? 0);
        ways &&= own.map((i) => ways[i] ?? [0, 0, 0]);
      }
      skins.push({ at, home, shares, ways, limb });
    });
  }
  const frames = data.time.length;
  const end = data.time[frames - 1];
  const slider = part('at');
  const play = part('play');
  const speed = part('speed');
  slider.max = String(frames - 1);
  let frame = 0;
  let playing = false;
  let then = 0;
  let time = 0;

  function pose() {
    place(quad.position, data.place[frame]);
    const [w, x, y, z] = data.attitude[frame];
    quad.quaternion.set(y, z, x, w);
    place(obstacle.position, data.swing[frame]);
    const moved = data.limbs[frame];
    const twists = data.twists[frame];
    for (const { node, limb } of whole) {
      if (limb < twists.length) turn(node, data.pivots[limb], twists[limb], moved[limb]);
      else place(node.position, moved[limb]);
    }
    for (const { at, home, shares, ways, limb } of skins) {
      const [x, y, z] = moved[limb];
      const angle = ways ? twists[limb] : 0;
      for (let i = 0; i < shares.length; i += 1) {
        const way = ways ? ways[i] : [0, 0, 0];
        at.array[3 * i] = home[3 * i] + shares[i] * y + angle * way[1];
        at.array[3 * i + 1] = home[3 * i + 1] + shares[i] * z + angle * way[2];
        at.array[3 * i + 2] = home[3 * i + 2] + shares[i] * x + angle * way[0];
      }
      at.needsUpdate = true;
    }
    const now = data.time[frame];
    const touching = data.contacts.filter(([, a, b]) => a - 5e-5 <= now && now <= b + 5e-5).map(([name]) => data.labels[name] ?? name);
    part('time').textContent = `${(1000 * now).toFixed(1)} ms`;
    part('push').textContent = `${Math.round(data.push[frame])} N`;
    part('touching').textContent = touching.length ? [...new Set(touching)].join(', ') : 'nothing';
    data.arms.forEach((arm, a) => {
      const load = Math.hypot(...data.moments[frame][a].map((m, j) => m / data.capacity[a][j]), data.torques[frame][a] / (data.torque_capacity[a] ?? Infinity));
      const meter = panel.querySelector(`[data-arm="${a}"]`);
      meter.value = Math.min(load, Number(meter.max));
      meter.nextElementSibling.textContent = load.toFixed(2);
      panel.querySelector(`[data-twist="${a}"]`).textContent = `${((180 / Math.PI) * Math.abs(twists[a])).toFixed(1)}°`;
    });
    slider.value = String(frame);
    slider.setAttribute('aria-valuetext', `${(1000 * now).toFixed(1)} ms, in contact: ${part('touching').textContent}`);
    cursor?.setAttribute('transform', `translate(${(now / end) * (RIGHT - LEFT)} 0)`);
    box.dataset.frame = String(frame);
    show.draw();
  }

  const go = (to) => { frame = Math.min(frames - 1, Math.max(0, Math.round(to))); time = data.time[frame]; pose(); };
  const near = (t) => data.time.reduce((best, x, i) => (Math.abs(x - t) < Math.abs(data.time[best] - t) ? i : best), 0);
  const moments = [...new Set(data.contacts.map(([, a]) => near(a)))].sort((a, b) => a - b);
  const next = (step) => {
    const found = step > 0 ? moments.find((m) => m > frame) : moments.filter((m) => m < frame).pop();
    go(found ?? (step > 0 ? frames - 1 : 0));
  };

  function tick(stamp) {
    if (!playing) return;
    if (calm.matches) { // no motion wanted: from one contact to the next, a second and a half each
      if (stamp - then > 1500) { then = stamp; next(1); }
    } else {
      // A frame's stamp may lie before the press that began it.
      time += Math.max(0, stamp - then) / 1000 / Number(speed.value);
      then = stamp;
      frame = Math.min(frames - 1, Math.floor((time / end) * (frames - 1)));
      pose();
    }
    if (frame >= frames - 1) run(false);
    else requestAnimationFrame(tick);
  }
  function run(on) {
    if (on && frame >= frames - 1) go(0);
    playing = on;
    play.textContent = on ? 'Pause' : 'Play';
    then = performance.now() - (calm.matches ? 1500 : 0);
    time = data.time[frame];
    if (on) requestAnimationFrame(tick);
  }
  play.addEventListener('click', () => run(!playing));
  slider.addEventListener('input', () => { run(false); go(Number(slider.value)); });
  part('back').addEventListener('click', () => { run(false); next(-1); });
  part('on').addEventListener('click', () => { run(false); next(1); });
  for (const button of document.querySelectorAll('[data-go]')) {
    button.addEventListener('click', () => { run(false); go(near(Number(button.dataset.go))); box.scrollIntoView({ block: 'nearest' }); });
  }
  panel.addEventListener('keydown', (event) => {
    if (event.target.matches('select')) return;
    const act = { ' ': () => run(!playing), ArrowRight: () => { run(false); go(frame + 1); }, ArrowLeft: () => { run(false); go(frame - 1); },
      PageDown: () => { run(false); next(1); }, PageUp: () => { run(false); next(-1); }, Home: () => { run(false); go(0); }, End: () => { run(false); go(frames - 1); } }[event.key];
    if (!act || (event.key === ' ' && event.target.matches('button'))) return;
    event.preventDefault();
    act();
  });
  panel.hidden = false;
  go(moments[0] ?? 0);
}

start().catch((problem) => {
  box.dataset.failed = String(problem);
  words.textContent = 'The 3D view cannot be shown in this browser; the moments below show the same crash.';
});
