// @ts-check
// Brings a film's gray values, and says how far it is.

/** @typedef {import("../../lib/gray-window.js").GrayWindow} GrayWindow */
/** @typedef {{ values: Uint16Array, columns: number, rows: number, window: GrayWindow }} Pixels */

/**
 * @param {string} address
 * @param {(share: number) => void} tell
 * @param {AbortSignal} signal
 * @returns {Promise<Pixels>}
 */
export async function loadPixels(address, tell, signal) {
  const answer = await fetch(address, { signal });
  if (!answer.ok) throw new Error(await wordsOf(answer));
  const columns = Number(answer.headers.get("Film-Columns"));
  const rows = Number(answer.headers.get("Film-Rows"));
  const [center = 0, width = 1] = (answer.headers.get("Film-Window") ?? "").split(" ").map(Number);
  const bytes = await bytesOf(answer, columns * rows * 2, tell);
  return { values: inOrder(bytes), columns, rows, window: { center, width } };
}

/**
 * @param {Response} answer
 * @param {number} expected
 * @param {(share: number) => void} tell
 */
async function bytesOf(answer, expected, tell) {
  const reader = answer.body?.getReader();
  if (!reader) throw new Error("The picture came without content.");
  const bytes = new Uint8Array(expected);
  let filled = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    if (filled + value.length > expected) throw new Error("The picture is larger than announced.");
    bytes.set(value, filled);
    filled += value.length;
    tell(filled / expected);
  }
  if (filled !== expected) throw new Error("The picture came incomplete.");
  return bytes;
}

/**
 * The values lie in the file with the low byte first; nearly every machine reads them so.
 * @param {Uint8Array} bytes
 */
function inOrder(bytes) {
  const lowFirst = new Uint8Array(new Uint16Array([1]).buffer)[0] === 1;
  if (lowFirst) return new Uint16Array(bytes.buffer);
  const view = new DataView(bytes.buffer);
  return Uint16Array.from({ length: bytes.length / 2 }, (_, i) => view.getUint16(2 * i, true));
}

/** @param {Response} answer */
async function wordsOf(answer) {
  try {
    return (await answer.json()).error.message;
  } catch {
    return `hipwright answered ${answer.status}.`;
  }
}
