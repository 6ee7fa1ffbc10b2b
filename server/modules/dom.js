// @ts-check
// Builds elements. Text goes in as text, so nothing that a person typed can become markup.

/**
 * @param {string} tag
 * @param {Record<string, any>} [attributes] `on...` are listeners, `class` and the others are attributes; false leaves out
 * @param {...(Node | string | null | undefined | false)} children
 * @returns {HTMLElement}
 */
export function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, '');
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, String(value));
  }
  element.append(...children.filter((child) => child !== null && child !== undefined && child !== false).map((child) => /** @type {Node | string} */ (child)));
  return element;
}

/** A link to the help, which is read on the server. @param {string} at topic and section @param {string} words */
export const helpLink = (at, words) => h('p', { class: 'source' }, h('a', { class: 'read', href: `/help${at}`, target: '_blank', rel: 'noopener', 'data-key': `help${at}` }, words), ' (needs a network)');

/** A time of day as people say it: at a place, where the phone knows its zone. @param {string | number} moment @param {string} [zone] */
export function clock(moment, zone) {
  /** @type {Intl.DateTimeFormatOptions} */
  const how = { hour: 'numeric', minute: '2-digit' };
  try {
    return new Date(moment).toLocaleTimeString([], { ...how, timeZone: zone });
  } catch {
    return new Date(moment).toLocaleTimeString([], how);
  }
}

/** Pounds without needless digits: no more than a scale shows. @param {string | number} amount @param {number} [digits] */
export const pounds = (amount, digits = 2) => String(Math.round(Number(amount) * 10 ** digits) / 10 ** digits);

/** Pounds of which no more may go down: rounded down. @param {string | number} amount @param {number} [digits] */
export const atMost = (amount, digits = 2) => String(Math.floor(Number((Number(amount) * 10 ** digits).toFixed(6))) / 10 ** digits);

/** Pounds in three figures, as a scale shows them; with `most` never more than that. @param {number} amount @param {boolean} [most] */
export function threeFigures(amount, most = false) {
  const digits = amount >= 100 ? 0 : amount >= 10 ? 1 : 2;
  return Number(most ? atMost(amount, digits) : pounds(amount, digits)).toLocaleString('en-US');
}

/** A span of time as people say it. @param {number} milliseconds */
export function span(milliseconds) {
  const minutes = Math.round(Math.abs(milliseconds) / 60000);
  if (minutes < 120) return `${minutes} ${minutes === 1 ? 'minute' : 'minutes'}`;
  return minutes < 48 * 60 ? `${Math.round(minutes / 60)} hours` : `${Math.round(minutes / 1440)} days`;
}

/** Whether a finger or a mouse button is down: what lies under it must be what it was put on when it is lifted. */
let pressed = false;
/** The end of the tap before, which the next one may come ahead of. */
let lifting = 0;
/** What waits to be drawn until it is lifted, by the place. @type {Map<HTMLElement, () => Node[]>} */
const waiting = new Map();

/** Draws what has waited, once the tap has done its work. */
function lifted() {
  pressed = false;
  const drawn = [...waiting];
  waiting.clear();
  for (const [place, nodes] of drawn) if (place.isConnected) replace(place, nodes);
}

addEventListener('pointerdown', () => (clearTimeout(lifting), (pressed = true)), true);
// The click comes after the lifting, and on a touch screen a moment later.
addEventListener('pointerup', () => (lifting = setTimeout(lifted, 50)), true);
addEventListener('pointercancel', lifted, true);
addEventListener('blur', lifted);
addEventListener('click', () => void (pressed = false), true);

/**
 * Replaces what an element holds, and leaves the focus where it was: on the element with the same `data-key`, or else on the
 * new heading, so that somebody without a pointer is not sent back to the top. While a finger is down it waits: a tap whose
 * button is taken away between putting down and lifting is no click, and Start or Save would go unheard.
 * @param {HTMLElement} place @param {() => Node[]} nodes what it is to hold, as it stands when it is drawn
 */
export function replace(place, nodes) {
  if (pressed) return void waiting.set(place, nodes);
  waiting.delete(place);
  const key = /** @type {HTMLElement | null} */ (document.activeElement)?.dataset.key;
  const held = place.contains(document.activeElement);
  place.replaceChildren(...nodes());
  if (!held) return;
  const same = key === undefined ? null : /** @type {HTMLElement | null} */ (place.querySelector(`[data-key="${CSS.escape(key)}"]`));
  (same ?? heading(place))?.focus({ preventScroll: same !== null });
}

/** Shows another page in this place, whatever was to be drawn there. @param {HTMLElement} place @param {Node[]} nodes */
export function turnTo(place, nodes) {
  waiting.delete(place);
  place.replaceChildren(...nodes);
  heading(place)?.focus();
}

/** The heading of a page, made to take the focus. @param {HTMLElement} place */
function heading(place) {
  const found = place.querySelector('h1');
  found?.setAttribute('tabindex', '-1');
  return found;
}

/** What people call this phone, from what its browser says of itself: "iPhone, Safari". @param {string} agent */
export function phoneName(agent) {
  const device = /iPhone/.test(agent) ? 'iPhone' : /iPad/.test(agent) ? 'iPad' : /Android/.test(agent) ? (/Mobile/.test(agent) ? 'Android phone' : 'Android tablet') : /Windows/.test(agent) ? 'Windows computer' : /Macintosh/.test(agent) ? 'Mac' : /Linux|CrOS/.test(agent) ? 'Linux computer' : 'Phone';
  const browser = /Edg/.test(agent) ? 'Edge' : /Firefox|FxiOS/.test(agent) ? 'Firefox' : /SamsungBrowser/.test(agent) ? 'Samsung Internet' : /Chrome|CriOS/.test(agent) ? 'Chrome' : /Safari/.test(agent) ? 'Safari' : '';
  return browser === '' ? device : `${device}, ${browser}`;
}

/** Pounds by which something is too much: rounded up, so that a little is never nothing. @param {number} amount */
export const tooMuch = (amount) => String(Math.ceil(Number((amount * 100).toFixed(6))) / 100);
