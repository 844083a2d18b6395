// A stage for quads in 3D, drawn like the drawing: flat shades from the one ramp, ink edges. Renders only when
// something moved.
import {
  Box3, Color, DirectionalLight, EdgesGeometry, GLTFLoader, HemisphereLight, LineBasicMaterial, LineSegments,
  MeshLambertMaterial, OrbitControls, PerspectiveCamera, Raycaster, Scene, Vector2, Vector3, WebGLRenderer,
} from './vendor/three.min.js';

function tones() {
  const style = getComputedStyle(document.documentElement);
  const read = (name) => new Color(style.getPropertyValue(name).trim());
  return { low: read('--r0'), high: read('--r9'), ink: read('--ink'), paper: read('--paper') };
}

// A model by its address, or by "#id" of an element of this page that holds it as base64.
function load(where) {
  if (!where.startsWith('#')) return new GLTFLoader().loadAsync(where);
  const raw = atob(document.getElementById(where.slice(1)).textContent.trim());
  return new GLTFLoader().parseAsync(Uint8Array.from(raw, (letter) => letter.charCodeAt(0)).buffer, '');
}

// Shows the model of ``box.dataset.glb``. ``say(info)`` gets what the pointer is over, or null. ``framed(meshes)``
// picks the meshes that the view is centred on; all of them without.
export async function stage(box, say, { framed = (all) => all, from = [0.62, 0.72, 1], far = 1.35 } = {}) {
  const renderer = new WebGLRenderer({ antialias: true, alpha: true });
  renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
  const canvas = renderer.domElement;
  canvas.tabIndex = 0;
  canvas.setAttribute('role', 'img');
  canvas.setAttribute('aria-label', `${box.dataset.label}. Arrow keys turn it, plus and minus zoom.`);
  box.prepend(canvas);
  const scene = new Scene();
  const camera = new PerspectiveCamera(32, 4 / 3, 0.01, 10);
  const sun = new DirectionalLight(0xffffff, 1.6);
  sun.position.set(0.6, 1.4, 0.9);
  scene.add(new HemisphereLight(0xffffff, 0xb8c0c4, 1.7), sun);
  const controls = new OrbitControls(camera, canvas);
  controls.enablePan = false;

  const meshes = [];
  let model = null;
  // Takes another model in place of the one that is shown; the view stays where it is.
  const put = async (where) => {
    const { scene: fresh } = await load(where);
    if (model) scene.remove(model);
    model = fresh;
    scene.add(model);
    meshes.length = 0;
    model.traverse((node) => { if (node.isMesh) meshes.push(node); });
    for (const mesh of meshes) {
      const info = mesh.userData.label ? mesh.userData : mesh.parent.userData;
      mesh.userData.info = { ...info, name: mesh.userData.label ? mesh.name : mesh.parent.name };
      mesh.geometry.computeVertexNormals();
      mesh.material = new MeshLambertMaterial({ flatShading: true, polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 });
      mesh.add(new LineSegments(new EdgesGeometry(mesh.geometry, 28), new LineBasicMaterial()));
    }
  };
  await put(box.dataset.glb);
  const size = new Box3();
  for (const mesh of framed(meshes)) size.expandByObject(mesh, true);
  const middle = size.getCenter(new Vector3());
  const reach = size.getSize(new Vector3()).length();
  camera.position.copy(middle).add(new Vector3(...from).normalize().multiplyScalar(reach * far));
  // What is near looks larger, so the middle of the quad is not the middle of its picture: shift to the latter.
  camera.lookAt(middle);
  camera.updateMatrixWorld();
  let [low, high] = [1, -1];
  for (const mesh of framed(meshes)) {
    const { min, max } = new Box3().setFromObject(mesh, true);
    for (const x of [min.x, max.x]) for (const y of [min.y, max.y]) for (const z of [min.z, max.z]) {
      const at = new Vector3(x, y, z).project(camera).y;
      [low, high] = [Math.min(low, at), Math.max(high, at)];
    }
  }
  const lift = (low + high) / 2 * Math.tan(camera.fov * Math.PI / 360) * reach * far;
  const up = new Vector3(0, lift, 0).applyQuaternion(camera.quaternion);
  middle.add(up);
  camera.position.add(up);
  controls.target.copy(middle);
  controls.minDistance = reach * 0.4;
  controls.maxDistance = reach * 4;

  let asked = false;
  const draw = () => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; renderer.render(scene, camera); box.dataset.drawn = String(meshes.length); });
  };
  const paint = () => {
    const { low, high, ink, paper } = tones();
    for (const mesh of meshes) {
      const shade = mesh.userData.info.shade ?? 0;
      mesh.material.color.lerpColors(low, high, shade);
      // Edges stay visible on dark parts, and thin dark parts on the ground.
      if (shade > 0.6) mesh.children[0].material.color.lerpColors(paper, high, 0.4);
      else mesh.children[0].material.color.copy(ink);
    }
    draw();
  };
  const fit = () => {
    renderer.setSize(box.clientWidth, box.clientHeight, false);
    camera.aspect = box.clientWidth / box.clientHeight;
    camera.updateProjectionMatrix();
    draw();
  };
  controls.addEventListener('change', draw);
  new ResizeObserver(fit).observe(box);
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', paint);
  controls.update();
  paint();

  const ray = new Raycaster();
  canvas.addEventListener('pointermove', (event) => {
    const at = canvas.getBoundingClientRect();
    ray.setFromCamera(new Vector2(2 * (event.clientX - at.left) / at.width - 1, 1 - 2 * (event.clientY - at.top) / at.height), camera);
    const hit = ray.intersectObjects(meshes, false)[0];
    say(hit?.object.userData.info ?? null);
  });
  canvas.addEventListener('keydown', (event) => {
    const turn = { ArrowLeft: [-0.15, 0], ArrowRight: [0.15, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] }[event.key];
    const zoom = { '+': 0.9, '=': 0.9, '-': 1.1 }[event.key];
    const arm = camera.position.clone().sub(middle);
    if (turn) {
      const flat = Math.hypot(arm.x, arm.z);
      const round = Math.atan2(arm.x, arm.z) + turn[0];
      const up = Math.min(1.5, Math.max(-1.5, Math.atan2(arm.y, flat) - turn[1]));
      const far = arm.length();
      arm.set(far * Math.cos(up) * Math.sin(round), far * Math.sin(up), far * Math.cos(up) * Math.cos(round));
    } else if (zoom) arm.multiplyScalar(zoom);
    else return;
    event.preventDefault();
    camera.position.copy(middle).add(arm);
    controls.update();
    draw();
  });
  const swap = async (where) => { await put(where); paint(); };
  return { model, meshes, draw, paint, camera, controls, middle, swap };
}
