// @ts-check
// What is drawn: bones as meshes, seen from an orbit. Knows nothing of pages or of pointers.

import * as THREE from "../../lib/three.js";
import { FIELD_DEG, basisOf } from "../../lib/orbit.js";
import { boxAround } from "../../lib/bone-mesh.js";
import { areBehind } from "../../lib/behind.js";
import { boneMaterial, rampTexture } from "./bone-material.js";

/** @typedef {import("../../lib/bone-mesh.js").BoneMesh} BoneMesh */
/** @typedef {import("../../lib/orbit.js").Vector} Vector */
/** @typedef {{ mesh: THREE.Mesh<THREE.BufferGeometry, THREE.ShaderMaterial>, depth: THREE.Mesh, through: boolean }} Drawn */

const NEAREST_MM = 5;
const FARTHEST_FRONT_MM = 900;

export class BoneScene {
  /** @param {HTMLCanvasElement} canvas */
  constructor(canvas) {
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true, powerPreference: "high-performance" });
    this.renderer.setClearColor(0x000000, 0);
    this.renderer.outputColorSpace = THREE.LinearSRGBColorSpace; // the shader writes screen values
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(FIELD_DEG, 1, NEAREST_MM, 10_000);
    this.camera.matrixAutoUpdate = false;
    this.ramp = rampTexture();
    this.depthOnly = new THREE.MeshBasicMaterial({ colorWrite: false });
    /** @type {Map<string, Drawn>} */
    this.bones = new Map();
    this.size = { width: 1, height: 1 };
  }

  /**
   * @param {string} id
   * @param {BoneMesh} mesh
   * @param {{ color: string, ghost?: boolean }} looks
   */
  add(id, mesh, { color, ghost = false }) {
    this.remove(id);
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(mesh.positions, 3));
    geometry.setIndex(new THREE.BufferAttribute(mesh.indices, 1));
    geometry.computeVertexNormals();
    geometry.setAttribute("paint", new THREE.BufferAttribute(new Uint8Array(mesh.positions.length / 3), 1, true));
    geometry.computeBoundingSphere();
    const drawn = new THREE.Mesh(geometry, boneMaterial(this.ramp, color));
    const depth = new THREE.Mesh(geometry, this.depthOnly);
    depth.visible = false;
    this.scene.add(drawn, depth);
    this.bones.set(id, { mesh: drawn, depth, through: false });
    if (ghost) this.seeThrough(id, 0.3);
  }

  /** @param {string} id */
  remove(id) {
    const drawn = this.bones.get(id);
    if (!drawn) return;
    this.scene.remove(drawn.mesh, drawn.depth);
    drawn.mesh.geometry.dispose();
    drawn.mesh.material.dispose();
    this.bones.delete(id);
  }

  /** @param {string} id @param {Uint8Array | null} values one a vertex, or none */
  paint(id, values) {
    const drawn = this.bones.get(id);
    if (!drawn) return;
    drawn.mesh.material.uniforms["painted"].value = values ? 1 : 0;
    if (!values) return;
    const attribute = /** @type {THREE.BufferAttribute} */ (drawn.mesh.geometry.getAttribute("paint"));
    if (values.length !== attribute.count) throw new Error(`${values.length} values for ${attribute.count} places`);
    attribute.set(values);
    attribute.needsUpdate = true;
  }

  /** @param {string} id @param {boolean} shown */
  show(id, shown) {
    const drawn = this.bones.get(id);
    if (!drawn) return;
    drawn.mesh.visible = shown;
    drawn.depth.visible = shown && drawn.through;
  }

  /** @param {string} id @param {number} opacity 1 is not to be seen through */
  seeThrough(id, opacity) {
    const drawn = this.bones.get(id);
    if (!drawn) return;
    const { material } = drawn.mesh;
    drawn.through = opacity < 1;
    material.uniforms["opacity"].value = opacity;
    material.transparent = drawn.through;
    material.depthWrite = !drawn.through;
    material.needsUpdate = true;
    // its own depth first, so that only its nearest layer is mixed with what lies behind
    drawn.mesh.renderOrder = drawn.through ? 3 : 1;
    drawn.depth.renderOrder = 2;
    drawn.depth.visible = drawn.through && drawn.mesh.visible;
  }

  /** @param {[number, number, number, number]} plane normal and distance: what lies beyond is left out */
  cut(plane) {
    for (const { mesh } of this.bones.values()) mesh.material.uniforms["cut"].value.set(...plane);
  }

  /** The box around what is shown, of the bones whose names are given or of all. @param {(id: string) => boolean} [wanted] */
  box(wanted = () => true) {
    const shown = [...this.bones].filter(([id, { mesh }]) => mesh.visible && wanted(id));
    const all = shown.length > 0 ? shown : [...this.bones];
    return boxAround(all.map(([, { mesh }]) => /** @type {Float32Array} */ (mesh.geometry.getAttribute("position").array)));
  }

  /** @param {number} width @param {number} height @param {number} density */
  resize(width, height, density) {
    this.size = { width: Math.max(1, width), height: Math.max(1, height) };
    this.renderer.setPixelRatio(density);
    this.renderer.setSize(this.size.width, this.size.height, false);
    this.camera.aspect = this.size.width / this.size.height;
  }

  /** @param {import("../../lib/orbit.js").Orbit} orbit */
  lookFrom(orbit) {
    const { eye, right, up, back } = basisOf(orbit);
    this.camera.matrix.makeBasis(new THREE.Vector3(...right), new THREE.Vector3(...up), new THREE.Vector3(...back));
    this.camera.matrix.setPosition(...eye);
    this.camera.updateMatrixWorld(true);
    this.camera.near = Math.max(NEAREST_MM, orbit.distance - (orbit.front ?? FARTHEST_FRONT_MM));
    this.camera.far = orbit.distance + 1500;
    this.camera.updateProjectionMatrix();
  }

  draw() {
    this.renderer.render(this.scene, this.camera);
  }

  /** Where a place is on the picture, px, and its distance from the eye. @param {Vector} place @returns {[number, number, number]} */
  project(place) {
    const seen = new THREE.Vector3(...place).project(this.camera);
    return [((seen.x + 1) / 2) * this.size.width, ((1 - seen.y) / 2) * this.size.height, seen.z];
  }

  /** The ray through a place of the picture. @param {[number, number]} at px @returns {{ origin: Vector, direction: Vector }} */
  ray([x, y]) {
    const origin = new THREE.Vector3().setFromMatrixPosition(this.camera.matrixWorld);
    const through = new THREE.Vector3((2 * x) / this.size.width - 1, 1 - (2 * y) / this.size.height, 0.5).unproject(this.camera);
    const direction = through.sub(origin).normalize();
    return { origin: [origin.x, origin.y, origin.z], direction: [direction.x, direction.y, direction.z] };
  }

  /** Which places bone hides from the eye; bones that are seen through hide nothing. @param {readonly Vector[]} places @returns {boolean[]} */
  areBehind(places) {
    const { x, y, z } = new THREE.Vector3().setFromMatrixPosition(this.camera.matrixWorld);
    const solid = [...this.bones.values()].filter(({ mesh, through }) => mesh.visible && !through);
    return areBehind([x, y, z], places, solid.map(({ mesh }) => /** @type {Float32Array} */ (mesh.geometry.getAttribute("position").array)));
  }

  dispose() {
    for (const id of [...this.bones.keys()]) this.remove(id);
    this.ramp.dispose();
    this.depthOnly.dispose();
    this.renderer.dispose();
  }
}
