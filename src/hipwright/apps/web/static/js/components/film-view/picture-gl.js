// @ts-check
// Draws a film with the graphics card: 16-bit gray values, window in the shader, and smaller
// copies of the picture for when it is shown smaller than it is.

import { halved } from "../../lib/gray-window.js";

/** @typedef {import("../../lib/film-transform.js").View} View */
/** @typedef {import("../../lib/film-transform.js").FilmSize} FilmSize */
/** @typedef {import("../../lib/gray-window.js").GrayWindow} GrayWindow */

const CORNERS = `#version 300 es
void main() {
  vec2 corner = vec2(gl_VertexID == 1 ? 3.0 : -1.0, gl_VertexID == 2 ? 3.0 : -1.0);
  gl_Position = vec4(corner, 0.0, 1.0);
}`;

const GRAY = `#version 300 es
precision highp float;
precision highp int;
precision highp usampler2D;
uniform usampler2D film;
uniform vec4 place;      // left and top on the canvas, canvas pixels a column and a row
uniform vec2 size;       // columns and rows
uniform float high;      // height of the canvas
uniform vec3 gray;       // low end, width, 1 for inverted
uniform int level;
out vec4 color;
float value(ivec2 at, ivec2 most) {
  return float(texelFetch(film, clamp(at, ivec2(0), most), level).r);
}
void main() {
  vec2 at = (vec2(gl_FragCoord.x, high - gl_FragCoord.y) - place.xy) / place.zw;
  if (any(lessThan(at, vec2(0.0))) || any(greaterThanEqual(at, size))) discard;
  ivec2 most = textureSize(film, level) - 1;
  vec2 fine = at / float(1 << level) - 0.5;
  vec2 share = fract(fine);
  ivec2 corner = ivec2(floor(fine));
  float upper = mix(value(corner, most), value(corner + ivec2(1, 0), most), share.x);
  float lower = mix(value(corner + ivec2(0, 1), most), value(corner + ivec2(1, 1), most), share.x);
  float shade = clamp((mix(upper, lower, share.y) - gray.x) / gray.y, 0.0, 1.0);
  shade = mix(shade, 1.0 - shade, gray.z);
  color = vec4(vec3(shade), 1.0);
}`;

/** Draws one film. Throws where the browser has no WebGL2. */
export class GlPicture {
  /** @param {HTMLCanvasElement} canvas */
  constructor(canvas) {
    const gl = canvas.getContext("webgl2", { alpha: true, antialias: false, depth: false });
    if (!gl) throw new Error("no WebGL2");
    this.canvas = canvas;
    this.gl = gl;
    this.program = linked(gl);
    gl.useProgram(this.program);
    this.levels = 1;
    /** How many times the stored picture is smaller than the film. */
    this.reduced = 1;
    /** @type {FilmSize | null} */
    this.film = null;
  }

  /**
   * @param {Uint16Array} values
   * @param {FilmSize} film
   */
  load(values, film) {
    const { gl } = this;
    const most = /** @type {number} */ (gl.getParameter(gl.MAX_TEXTURE_SIZE));
    let level = { values, columns: film.columns, rows: film.rows };
    this.reduced = 1;
    while (Math.max(level.columns, level.rows) > most) {
      level = halved(level.values, level.columns, level.rows);
      this.reduced *= 2;
    }
    this.film = film;
    gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 2);
    this.levels = 0;
    for (;;) {
      gl.texImage2D(
        gl.TEXTURE_2D, this.levels, gl.R16UI, level.columns, level.rows, 0,
        gl.RED_INTEGER, gl.UNSIGNED_SHORT, level.values,
      );
      this.levels += 1;
      if (Math.max(level.columns, level.rows) <= 256) break;
      level = halved(level.values, level.columns, level.rows);
    }
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.NEAREST_MIPMAP_NEAREST);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.NEAREST);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAX_LEVEL, this.levels - 1);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
  }

  /**
   * @param {View} view
   * @param {GrayWindow} gray
   * @param {boolean} inverted
   */
  draw(view, gray, inverted) {
    const { gl, canvas, film } = this;
    if (!film || gl.isContextLost()) return;
    const ratio = canvas.width / Math.max(canvas.clientWidth, 1);
    const column = view.scale * ratio * this.reduced;
    const row = column * film.aspect;
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT);
    /** @param {string} name */
    const at = (name) => gl.getUniformLocation(this.program, name);
    gl.uniform4f(at("place"), view.x * ratio, view.y * ratio, column, row);
    gl.uniform2f(at("size"), film.columns / this.reduced, film.rows / this.reduced);
    gl.uniform1f(at("high"), canvas.height);
    const low = gray.center - gray.width / 2;
    gl.uniform3f(at("gray"), low, Math.max(gray.width, 1e-3), inverted ? 1 : 0);
    const wanted = Math.round(Math.log2(Math.max(1 / column, 1)));
    gl.uniform1i(at("level"), Math.min(wanted, this.levels - 1));
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }
}

/** @param {WebGL2RenderingContext} gl */
function linked(gl) {
  const program = gl.createProgram();
  for (const [kind, source] of /** @type {[number, string][]} */ ([
    [gl.VERTEX_SHADER, CORNERS],
    [gl.FRAGMENT_SHADER, GRAY],
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
