// @ts-check
// Labels and safety data sheets of the day's products: kept on the phone, because the label is read where the work is.

import { writtenDay } from './day.js';
import { h } from './dom.js';

/** Where they are kept; the worker answers from it. A file never changes, so what is kept is never asked for again. */
const SHELF = 'files';
const KINDS = { label: 'Label', safety_data_sheet: 'Safety data sheet' };

/** @typedef {{ id: string, kind: string, dated: string | null }} ProductFile */

/** @param {string} id */
const address = (id) => `/api/v1/product-files/${id}/content`;

/** The newest of each kind. @param {any[]} files in the order in which they were added @returns {any[]} */
const newest = (files) => [...new Map(files.map((one) => [one.kind, one])).values()];

/**
 * What there is to read of these products.
 * @param {string[]} products @param {(method: string, path: string, whole: (body: any) => boolean) => Promise<any>} part of a download
 * @returns {Promise<Record<string, ProductFile[]>>}
 */
export async function listFiles(products, part) {
  /** @type {Record<string, ProductFile[]>} */
  const found = {};
  for (const product of new Set(products)) {
    const { items } = await part('GET', `/api/v1/products/${product}/files?limit=200`, (body) => Array.isArray(body?.items));
    found[product] = newest(items).map(({ id, kind, dated }) => ({ id, kind, dated }));
  }
  return found;
}

/**
 * Keeps these files, and drops others once these are here. They may be large and the network slow, so nobody waits for it; what
 * a phone has no room for is read while there is a network.
 * @param {Record<string, ProductFile[]>} files
 */
export async function keepFiles(files) {
  const wanted = Object.values(files).flat().map((one) => address(one.id));
  let whole = true;
  for (const path of wanted) if (!(await isKept(path))) await caches.open(SHELF).then((shelf) => shelf.add(path)).catch(() => void (whole = false));
  // An older label is better than none while the newer one has not come.
  if (whole) await sweep((path) => !wanted.includes(path));
}

/** @param {string} path */
const isKept = (path) => caches.match(path, { cacheName: SHELF }).then((found) => found !== undefined, () => false);

/** Takes files off the phone. @param {(path: string) => boolean} away */
async function sweep(away) {
  try {
    const shelf = await caches.open(SHELF);
    for (const request of await shelf.keys()) if (away(new URL(request.url).pathname)) await shelf.delete(request);
  } catch {
    // Without shelves there is nothing to sweep.
  }
}

/** Takes all of them off the phone. */
export const forgetFiles = () => sweep(() => true);

/** What there is to read of a stop's product. @param {any} stop @param {import('./day.js').Day} day @returns {HTMLElement} */
export function toRead(stop, day) {
  const files = day.files?.[stop.product.id] ?? [];
  const rows = files.map((one) => {
    const dated = one.dated ? ` of ${writtenDay(one.dated, day.dates)}` : '';
    const words = `${KINDS[/** @type {keyof typeof KINDS} */ (one.kind)] ?? one.kind}${dated}`;
    const where = h('span', { class: 'source' });
    void isKept(address(one.id)).then((kept) => (where.textContent = kept ? 'on this phone' : '▲ only with a network'));
    return h('li', {}, h('a', { class: 'read', href: address(one.id), target: '_blank', rel: 'noopener', 'data-key': `read-${one.id}` }, words), ' ', where);
  });
  return h('section', {}, h('h2', {}, 'To read'), rows.length > 0 ? h('ul', {}, ...rows) : h('p', {}, '▲ No label of this product is on file. Read the one on the bag.'));
}
