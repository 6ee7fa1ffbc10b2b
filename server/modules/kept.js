// @ts-check
// Records that were sent stay on the phone until a copy of the server's records holds them. If the records are lost and an older copy is
// put in their place, the phone notices, and sends again what that copy does not have, under the same numbers and unasked.

import { call } from './api.js';
import { place } from './receipt.js';
import { across, got } from './shelf.js';

/** @typedef {import('./shelf.js').Waiting} Waiting */
/** @typedef {{ item: Waiting, entry: number, head: string }} Kept a record, and where the journal stood when it was taken */

/** Where nothing is ever copied, nothing is kept for ever. */
const DAYS = 31;

/** @param {string} by @param {string} id */
const keptName = (by, id) => `kept/${by}/${id}`;
/** @param {string} by */
const all = (by) => IDBKeyRange.bound(keptName(by, ''), keptName(by, '\uffff'));

/**
 * Keeps a record that was taken, with the receipt that came for it. Without one nothing could tell later whether it is still there.
 * @param {IDBObjectStore} downloaded @param {Waiting} item @param {string | null} sent the receipt, as an answer's header carries it
 */
export async function keepSent(downloaded, item, sent) {
  const stood = place(sent ?? '');
  if (stood !== null) await got(downloaded.put({ item, ...stood }, keptName(item.by, item.id)));
}

/** @param {string} by @returns {Promise<Kept[]>} */
const keptBy = (by) => across('readonly', ({ downloaded }) => got(downloaded.getAll(all(by))));

/**
 * Asks the server whether it still has what this person sent from here. What a copy holds is forgotten; where an older copy was put in
 * the place of the records, everything waits again.
 * @param {string} by @returns {Promise<boolean>} whether something is still kept
 */
export async function holdAgainst(by) {
  const kept = await keptBy(by);
  if (kept.length === 0) return false;
  const last = kept.reduce((one, other) => (other.entry > one.entry ? other : one));
  const answer = await call('GET', `/api/v1/receipt/standing?entry=${last.entry}&head=${last.head}`);
  if (answer.status !== 200 || typeof answer.body?.stands !== 'boolean') return true;
  const { stands, copied_to: copiedTo } = answer.body;
  const tooOld = Date.now() - DAYS * 86_400_000;
  const over = (/** @type {Kept} */ one) => (typeof copiedTo === 'number' && one.entry <= copiedTo) || one.item.made_at < tooOld;
  return across('readwrite', async ({ waiting, downloaded }) => {
    let left = false;
    for (const one of kept) {
      const name = keptName(by, one.item.id);
      // Another tab may have done it meanwhile.
      if ((await got(downloaded.getKey(name))) === undefined) continue;
      if (!stands) await got(waiting.put({ ...one.item, state: 'waiting', problem: null, tries: 0 }));
      if (!stands || over(one)) await got(downloaded.delete(name));
      else left = true;
    }
    return left;
  });
}
