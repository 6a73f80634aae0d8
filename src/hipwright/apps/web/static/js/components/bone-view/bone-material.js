// @ts-check
// How bone looks: lit from where one stands, painted by a ramp, seen through or cut open.

import * as THREE from "../../lib/three.js";
import { rampBytes } from "../../lib/color-ramp.js";

const VERTEX = /* glsl */ `
attribute float paint;
varying vec3 vNormal;
varying vec3 vPlace;
varying vec3 vWorld;
varying vec2 vPaint;
void main() {
  vec4 seen = modelViewMatrix * vec4(position, 1.0);
  vNormal = normalMatrix * normal;
  vPlace = seen.xyz;
  vWorld = position;
  float known = paint > 0.001 ? 1.0 : 0.0;
  vPaint = vec2(known * (paint * 255.0 - 1.0) / 254.0, known);
  gl_Position = projectionMatrix * seen;
}`;

const FRAGMENT = /* glsl */ `
uniform vec3 bone;
uniform vec3 inside;
uniform float opacity;
uniform float painted;
uniform float flatness;
uniform vec4 cut;
uniform sampler2D ramp;
varying vec3 vNormal;
varying vec3 vPlace;
varying vec3 vWorld;
varying vec2 vPaint;
void main() {
  if (dot(cut.xyz, vWorld) > cut.w) discard;
  vec3 toEye = normalize(-vPlace);
  vec3 n = normalize(vNormal);
  float facing = dot(n, toEye);
  if (facing < 0.0 && !gl_FrontFacing) {
    gl_FragColor = vec4(inside * (0.72 + 0.28 * abs(facing)), opacity);
    return;
  }
  float key = max(dot(n, normalize(vec3(-0.45, 0.65, 0.75))), 0.0);
  float fill = max(dot(n, normalize(vec3(0.75, -0.25, 0.45))), 0.0);
  float sky = 0.5 + 0.5 * n.y;
  float edge = pow(1.0 - clamp(facing, 0.0, 1.0), 2.5);
  vec3 base = bone;
  float known = smoothstep(0.45, 0.55, vPaint.y) * painted;
  vec3 color = texture2D(ramp, vec2(clamp(vPaint.x / max(vPaint.y, 0.001), 0.0, 1.0), 0.5)).rgb;
  base = mix(base, color, known);
  vec3 light = vec3(0.30, 0.31, 0.33) + sky * vec3(0.16, 0.16, 0.17) + key * vec3(0.62, 0.60, 0.56) + fill * vec3(0.14, 0.15, 0.17);
  vec3 even = vec3(0.74 + 0.26 * clamp(facing, 0.0, 1.0));
  vec3 lit = base * mix(light, even, max(flatness, 0.72 * known));
  lit *= 1.0 - 0.28 * edge * (1.0 - known);
  float alpha = opacity < 0.999 ? clamp(opacity * (0.55 + 1.9 * edge), 0.0, 1.0) : 1.0;
  gl_FragColor = vec4(lit, alpha);
}`;

/** @returns {THREE.DataTexture} */
export function rampTexture() {
  const texture = new THREE.DataTexture(rampBytes(), 256, 1, THREE.RGBAFormat);
  texture.minFilter = THREE.LinearFilter;
  texture.magFilter = THREE.LinearFilter;
  texture.needsUpdate = true;
  return texture;
}

/** Nothing is cut away. */
export const UNCUT = new THREE.Vector4(0, 0, 0, 1);

/**
 * @param {THREE.DataTexture} ramp
 * @param {string} color
 */
export function boneMaterial(ramp, color) {
  return new THREE.ShaderMaterial({
    vertexShader: VERTEX,
    fragmentShader: FRAGMENT,
    side: THREE.DoubleSide,
    uniforms: {
      bone: { value: rgb(color) },
      inside: { value: rgb("#b9866f") },
      opacity: { value: 1 },
      painted: { value: 0 },
      flatness: { value: 0 },
      cut: { value: UNCUT.clone() },
      ramp: { value: ramp },
    },
  });
}

/** The color as it is meant on the screen: shading happens in screen values. @param {string} hex */
function rgb(hex) {
  const at = (/** @type {number} */ n) => Number.parseInt(hex.slice(n, n + 2), 16) / 255;
  return new THREE.Vector3(at(1), at(3), at(5));
}
