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

/** A time of day as people say it. @param {string | number} moment */
export const clock = (moment) => new Date(moment).toLocaleTimeString([], { hour: '2-digit', minute: '2-digit' });

/** Pounds without needless digits: no more than a scale shows. @param {string | number} pounds */
export const pounds = (pounds) => String(Math.round(Number(pounds) * 100) / 100);
