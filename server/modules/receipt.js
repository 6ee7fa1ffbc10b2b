// @ts-check
// The newest receipt that this phone was given: how far the records on the server had come, signed. The phone keeps it outside of
// them, so that it shows later if records were lost or written anew.

import { h, helpLink } from './dom.js';
import { got } from './shelf.js';

/** Where it is kept. It stays when the day is erased: it names nobody but the company. */
export const RECEIPT = 'receipt';

/** A receipt as it is printed; empty when somebody on the way has changed it. @param {string} sent base64, as an answer's header carries it */
function printed(sent) {
  try {
    return new TextDecoder().decode(Uint8Array.from(atob(sent), (letter) => letter.charCodeAt(0)));
  } catch {
    return '';
  }
}

/** @param {string} text @param {string} label */
const value = (text, label) => text.split('\n').find((line) => line.startsWith(label))?.slice(label.length) ?? '';

/** @param {string} text */
const entry = (text) => Number(value(text, 'Entry: '));

/**
 * Where the journal stood when a receipt was signed; null when there is none that can be read.
 * @param {string} sent base64, as an answer's header carries it @returns {{ entry: number, head: string } | null}
 */
export function place(sent) {
  const text = printed(sent);
  const [number, head] = [entry(text), value(text, 'Head: ')];
  return number > 0 && /^[0-9a-f]{64}$/.test(head) ? { entry: number, head } : null;
}

/**
 * Keeps a receipt, unless the one that is kept covers more of the same records: then the server has lost some, and the older one is
 * what shows it.
 * @param {IDBObjectStore} downloaded @param {string | null} sent
 */
export async function keepReceipt(downloaded, sent) {
  const text = printed(sent ?? '');
  if (text === '') return;
  const kept = /** @type {string | undefined} */ (await got(downloaded.get(RECEIPT)));
  const same = kept !== undefined && value(kept, 'Book: ') === value(text, 'Book: ');
  if (!same || entry(text) >= entry(kept)) await got(downloaded.put(text, RECEIPT));
}

/** What shows it, folded. @param {string | undefined} text @returns {HTMLElement | null} */
export const receiptPart = (text) =>
  text === undefined ? null : h('details', { 'data-key': RECEIPT },
    h('summary', {}, `Receipt up to entry ${entry(text)}`),
    h('p', {}, 'The server signed how far the records had come. This phone keeps it. If records are lost or changed later, it shows.'),
    h('pre', {}, text), helpLink('/proof#receipts', 'Help: receipts'));
