// @ts-check
// Draws a slice with the graphics card: 16-bit gray values with the window in the shader, and
// labels over them, filled and outlined.

/** @typedef {import("../../lib/film-transform.js").View} View */
/** @typedef {import("./slice-view.js").Shading} Shading */
/** @typedef {{ columns: number, rows: number, aspect: number }} Size */

const CORNERS = `#version 300 es
void main() {
  vec2 corner = vec2(gl_VertexID == 1 ? 3.0 : -1.0, gl_VertexID == 2 ? 3.0 : -1.0);
  gl_Position = vec4(corner, 0.0, 1.0);
}`;

const SLICE = `#version 300 es
precision highp float;
precision highp int;
precision highp isampler2D;
precision highp usampler2D;
uniform isampler2D values;
uniform usampler2D codes;
uniform vec4 place;      // left and top on the canvas, canvas pixels a column and a row
uniform vec2 size;       // columns and rows
uniform float high;      // height of the canvas
uniform vec2 gray;       // low end, width
uniform vec4 colors[9];  // by code; alpha 0 hides
uniform vec2 strength;   // of the fill, of the outline
uniform float line;      // half width of the outline, canvas pixels
out vec4 color;
const int OUTSIDE = -32768;
int value(ivec2 at, ivec2 most) {
  return texelFetch(values, clamp(at, ivec2(0), most), 0).r;
}
uint code(vec2 at, ivec2 most) {
  return texelFetch(codes, clamp(ivec2(floor(at)), ivec2(0), most), 0).r;
}
void main() {
  vec2 at = (vec2(gl_FragCoord.x, high - gl_FragCoord.y) - place.xy) / place.zw;
  if (any(lessThan(at, vec2(0.0))) || any(greaterThanEqual(at, size))) discard;
  ivec2 most = ivec2(size) - 1;
  vec2 fine = at - 0.5;
  vec2 share = fract(fine);
  ivec2 corner = ivec2(floor(fine));
  int a = value(corner, most);
  int b = value(corner + ivec2(1, 0), most);
  int c = value(corner + ivec2(0, 1), most);
  int d = value(corner + ivec2(1, 1), most);
  if (min(min(a, b), min(c, d)) == OUTSIDE) discard;
  float mixed = mix(mix(float(a), float(b), share.x), mix(float(c), float(d), share.x), share.y);
  vec3 shade = vec3(clamp((mixed - gray.x) / gray.y, 0.0, 1.0));
  if (strength.x + strength.y > 0.0) {
    uint own = code(at, most);
    vec2 step = line / place.zw;
    uint l = code(at - vec2(step.x, 0.0), most);
    uint r = code(at + vec2(step.x, 0.0), most);
    uint u = code(at - vec2(0.0, step.y), most);
    uint n = code(at + vec2(0.0, step.y), most);
    bool edge = l != own || r != own || u != own || n != own;
    uint edged = own != 0u ? own : max(max(l, r), max(u, n));
    vec4 fill = colors[min(own, 8u)];
    shade = mix(shade, fill.rgb, fill.a * strength.x);
    if (edge) {
      vec4 rim = colors[min(edged, 8u)];
      shade = mix(shade, rim.rgb, rim.a * strength.y);
    }
  }
  color = vec4(shade, 1.0);
}`;

const PLAYED = /swiftshader|llvmpipe|softpipe|software|basic render/i;

/** @type {boolean | null} */
let found = null;

/**
 * Whether a graphics card stands behind WebGL2. Where the processor would have to play it,
 * a slice is mixed in 8 bits instead, which is no slower and holds less memory.
 */
export function hasGraphicsCard() {
  if (found === null) {
    const gl = document.createElement("canvas").getContext("webgl2");
    const told = gl?.getExtension("WEBGL_debug_renderer_info");
    const renderer = gl?.getParameter(told ? told.UNMASKED_RENDERER_WEBGL : gl.RENDERER) ?? "";
    found = gl !== null && !PLAYED.test(String(renderer));
    gl?.getExtension("WEBGL_lose_context")?.loseContext();
  }
  return found;
}

/** Draws slices. Throws where the browser has no WebGL2. */
export class GlSlice {
  /** @param {HTMLCanvasElement} canvas */
  constructor(canvas) {
    const gl = canvas.getContext("webgl2", { alpha: true, antialias: false, depth: false });
    if (!gl) throw new Error("no WebGL2");
    this.canvas = canvas;
    this.gl = gl;
    this.program = linked(gl);
    gl.useProgram(this.program);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    /** @type {Map<string, WebGLUniformLocation | null>} */
    const known = new Map();
    /** @param {string} name */
    this.at = (name) => {
      if (!known.has(name)) known.set(name, gl.getUniformLocation(this.program, name));
      return known.get(name) ?? null;
    };
    this.values = this.texture(0, "values");
    this.codes = this.texture(1, "codes");
    /** @type {Size | null} */
    this.size = null;
    this.hasCodes = false;
  }

  /**
   * @param {number} unit
   * @param {string} name
   */
  texture(unit, name) {
    const { gl } = this;
    const texture = gl.createTexture();
    gl.activeTexture(gl.TEXTURE0 + unit);
    gl.bindTexture(gl.TEXTURE_2D, texture);
    for (const filter of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, filter, gl.NEAREST);
    for (const wrap of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, wrap, gl.CLAMP_TO_EDGE);
    gl.uniform1i(gl.getUniformLocation(this.program, name), unit);
    return texture;
  }

  /**
   * @param {Int16Array} values
   * @param {Uint8Array | null} codes
   * @param {Size} size
   */
  load(values, codes, size) {
    const { gl } = this;
    const same = this.size?.columns === size.columns && this.size.rows === size.rows;
    this.size = size;
    gl.activeTexture(gl.TEXTURE0);
    if (same) gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, size.columns, size.rows, gl.RED_INTEGER, gl.SHORT, values);
    else gl.texImage2D(gl.TEXTURE_2D, 0, gl.R16I, size.columns, size.rows, 0, gl.RED_INTEGER, gl.SHORT, values);
    gl.activeTexture(gl.TEXTURE1);
    const under = codes ?? (same && !this.hasCodes ? null : new Uint8Array(size.columns * size.rows));
    if (under && same) gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, size.columns, size.rows, gl.RED_INTEGER, gl.UNSIGNED_BYTE, under);
    else if (under) gl.texImage2D(gl.TEXTURE_2D, 0, gl.R8UI, size.columns, size.rows, 0, gl.RED_INTEGER, gl.UNSIGNED_BYTE, under);
    this.hasCodes = codes !== null;
  }

  /**
   * @param {View} view
   * @param {Shading} shading
   */
  draw(view, shading) {
    const { gl, canvas, size } = this;
    if (!size || gl.isContextLost()) return;
    const ratio = canvas.width / Math.max(canvas.clientWidth, 1);
    const column = view.scale * ratio;
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT);
    const { at } = this;
    gl.uniform4f(at("place"), view.x * ratio, view.y * ratio, column, column * size.aspect);
    gl.uniform2f(at("size"), size.columns, size.rows);
    gl.uniform1f(at("high"), canvas.height);
    gl.uniform2f(at("gray"), shading.center - shading.width / 2, Math.max(shading.width, 1e-3));
    gl.uniform4fv(at("colors"), shading.colors);
    const shown = shading.labels && this.hasCodes;
    gl.uniform2f(at("strength"), shown ? shading.opacity : 0, shown ? 0.95 : 0);
    gl.uniform1f(at("line"), Math.max(0.75 * ratio, 0.75));
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }
}

/** @param {WebGL2RenderingContext} gl */
function linked(gl) {
  const program = gl.createProgram();
  for (const [kind, source] of /** @type {[number, string][]} */ ([
    [gl.VERTEX_SHADER, CORNERS],
    [gl.FRAGMENT_SHADER, SLICE],
  ])) {
    const shader = gl.createShader(kind);
    if (!shader) throw new Error("no shader");
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) {
    throw new Error(gl.getProgramInfoLog(program) ?? "the shader does not link");
  }
  return program;
}
