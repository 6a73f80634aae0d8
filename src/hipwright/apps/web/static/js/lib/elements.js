// @ts-check
// Elements of a page: found, or made.

/**
 * An element of the page that is there by the template.
 * @template {Element} Kind
 * @param {string} selector
 * @param {new () => Kind} kind
 * @param {ParentNode} [within]
 * @returns {Kind}
 */
export function part(selector, kind, within = document) {
  const found = within.querySelector(selector);
  if (!(found instanceof kind)) throw new Error(`the page lacks ${selector}`);
  return found;
}

/**
 * A new element with attributes and children.
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Record<string, string | boolean | null>} [attributes]
 * @param {...(Node | string | null)} children
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function made(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null) element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null));
  return element;
}

/**
 * A new SVG element.
 * @param {string} tag
 * @param {Record<string, string | number>} [attributes]
 * @param {...(Node | string)} children
 */
export function drawn(tag, attributes = {}, ...children) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  element.append(...children);
  return element;
}
