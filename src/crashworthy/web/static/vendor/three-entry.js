// What the 3D view uses of three.js; tools/vendor.py bundles this into three.min.js.
export {
  Box3, Color, DirectionalLight, EdgesGeometry, HemisphereLight, LineBasicMaterial, LineSegments,
  MeshLambertMaterial, PerspectiveCamera, Raycaster, Scene, Vector2, Vector3, WebGLRenderer,
} from 'three';
export { OrbitControls } from 'three/examples/jsm/controls/OrbitControls.js';
export { GLTFLoader } from 'three/examples/jsm/loaders/GLTFLoader.js';
