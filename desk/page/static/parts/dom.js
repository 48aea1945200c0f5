// Elements from plain calls, and lists that keep their elements between updates.

const SVG = "http://www.w3.org/2000/svg";

/** An HTML element: `h("button.main", { onclick }, "Save")`; attributes may be left out: `h("p", "Saved")`. */
export function h(name, ...rest) {
  const [tag, ...classes] = name.split(".");
  return dress(document.createElement(tag), classes, rest);
}

/** An SVG element, called in the same way. */
export function s(name, ...rest) {
  const [tag, ...classes] = name.split(".");
  return dress(document.createElementNS(SVG, tag), classes, rest);
}

const isProps = (given) => given?.constructor === Object;

function dress(element, classes, rest) {
  const [props, children] = isProps(rest[0]) ? [rest[0], rest.slice(1)] : [{}, rest];
  if (classes.length) element.classList.add(...classes);
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key === "style") element.style.cssText = value;
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined));
  return element;
}

/** Set a text only where it differs, so that selections and screen readers are left alone. */
export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** Set or take away an attribute. */
export function mark(element, name, value) {
  if (value === false || value === null || value === undefined) element.removeAttribute(name);
  else if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
}

/** A field that has no use now stays where it is, so that nothing moves; it takes no hand. */
export function idle(field, is) {
  mark(field, "data-idle", is ? "" : null);
  field.querySelectorAll("input, select, button").forEach((control) => mark(control, "disabled", is ? true : null));
}

/**
 * A list whose elements live on while their keys do.
 *
 * `make(item)` returns `{ el, update(item) }`; the returned function takes the items of now.
 */
export function keyed(parent, keyOf, make) {
  const known = new Map();
  return (items) => {
    const wanted = new Set(items.map(keyOf));
    for (const [key, entry] of known) {
      if (!wanted.has(key)) {
        entry.el.remove();
        known.delete(key);
      }
    }
    let before = null;
    for (const item of items) {
      const key = keyOf(item);
      let entry = known.get(key);
      if (!entry) known.set(key, (entry = make(item)));
      const place = before ? before.nextSibling : parent.firstChild;
      if (place !== entry.el) parent.insertBefore(entry.el, place);
      entry.update?.(item);
      before = entry.el;
    }
  };
}

let count = 0;

/** A fresh id, to tie a label or a hint to its field. */
export const freshId = (stem) => `${stem}-${++count}`;
