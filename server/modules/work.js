// @ts-check
// Work that was begun on this phone, and what became of it. One beginning has one id from Start on: the record is kept, sent and
// remembered under it, so that it can be saved once and no more, in however many tabs and after whatever happened.

import { newId } from './api.js';
import { keepSent } from './kept.js';
import { RECEIPT, keepReceipt } from './receipt.js';
import { across, got } from './shelf.js';

/** @typedef {import('./shelf.js').Waiting} Waiting */
/** @typedef {import('./shelf.js').Shelves} Shelves */
/** @typedef {{ decision: any, at: number, ground: string, equipment: string, supervisor?: string, air?: string }} Asked what the server answered to what was seen here */
/** @typedef {{ id: string, by: string, visit: string, stop?: any, decision?: any, here: boolean, ground: string, started_at: string, finished_at: string, since?: number, phone_started_at?: string, phone_finished_at?: string, clock_jump_s?: number, air: string, measured?: { air?: string, mph?: string }, on?: string, equipment: string, treated: Record<string, string>, area: Record<string, string>, used: Record<string, string>, cleaned: string, asked?: Asked, supervisor?: string, parts?: Record<string, string[]>, seen?: import('./seen.js').Seen }} Work */
/** @typedef {{ id: string, lines?: import('./parts.js').Line[], counted?: boolean }} Sent a record that has left the phone; counted when the day that was downloaded since knows of it */

/** @param {string} by @param {string} visit */
const workName = (by, visit) => `work/${by}/${visit}`;
/** @param {string} by @param {string} visit */
const sentName = (by, visit) => `sent/${by}/${visit}`;

/** @param {string} by @param {string} visit @param {string} equipment @returns {Work} */
const fresh = (by, visit, equipment) => ({ id: '', by, visit, here: false, ground: '', started_at: '', finished_at: '', air: '', equipment, treated: {}, area: {}, used: {}, cleaned: '' });

/** @typedef {{ items: Waiting[], works: Map<string, Work>, sent: Map<string, Sent[]> }} Kept all that is kept of a person's stops, by the visit */

/** All that is kept of a person's stops, as it stands at one moment. @param {string} by @returns {Promise<Kept>} */
export const keptOf = (by) =>
  across('readonly', async ({ waiting, downloaded }) => {
    const named = async (/** @type {string} */ from) => {
      const range = IDBKeyRange.bound(from, `${from}\uffff`);
      const [names, values] = [await got(downloaded.getAllKeys(range)), await got(downloaded.getAll(range))];
      return new Map(names.map((name, at) => [String(name).slice(from.length), values[at]]));
    };
    return { items: await got(waiting.getAll()), works: await named(workName(by, '')), sent: await named(sentName(by, '')) };
  });

/** @param {string} by @param {string} visit @returns {Promise<Work>} */
export const workOn = (by, visit) =>
  across('readonly', async ({ downloaded }) => (await got(downloaded.get(workName(by, visit)))) ?? fresh(by, visit, (await got(downloaded.get('equipment'))) ?? ''));

/** What somebody began here and has not saved, oldest first. @param {string} by @returns {Promise<Work[]>} */
export async function begunBy(by) {
  const all = /** @type {Work[]} */ (await across('readonly', ({ downloaded }) => got(downloaded.getAll(IDBKeyRange.bound(workName(by, ''), workName(by, '\uffff'))))));
  return all.filter((work) => work.id !== '').sort((one, other) => Date.parse(one.started_at) - Date.parse(other.started_at));
}

/** Whether a record of this id was saved already. @param {Shelves} shelves @param {string} by @param {string} visit @param {string} id */
async function isSaved({ waiting, downloaded }, by, visit, id) {
  if ((await got(waiting.getKey(id))) !== undefined) return true;
  const sent = /** @type {Sent[] | undefined} */ (await got(downloaded.get(sentName(by, visit))));
  return (sent ?? []).some((one) => one.id === id);
}

/**
 * Begins the work, unless another tab has: then that beginning is the one. A phone without room goes on from memory.
 * @param {Work} work what was seen, with the moment of the start @returns {Promise<Work>} the work that was begun
 */
export async function begin(work) {
  const begun = { ...work, id: newId() };
  const one = await across('readwrite', async ({ downloaded }) => {
    const kept = /** @type {Work | undefined} */ (await got(downloaded.get(workName(work.by, work.visit))));
    if (kept?.id) return kept;
    await got(downloaded.put(begun, workName(work.by, work.visit)));
    await got(downloaded.put(work.equipment, 'equipment'));
    return begun;
  }).catch(() => begun);
  return one;
}

/**
 * Keeps what was seen or typed. What another tab has begun or saved meanwhile is not written over.
 * @param {Work} work
 */
export const keepWork = (work) =>
  across('readwrite', async (shelves) => {
    const kept = /** @type {Work | undefined} */ (await got(shelves.downloaded.get(workName(work.by, work.visit))));
    if (kept && kept.id !== work.id) return;
    if (work.id !== '' && (await isSaved(shelves, work.by, work.visit, work.id))) return;
    await got(shelves.downloaded.put(work, workName(work.by, work.visit)));
  });

/**
 * Puts the record of begun work onto the shelf of those that wait, and takes the work away, both or neither. Rejects when the
 * phone cannot keep it.
 * @param {Waiting} item @returns {Promise<boolean>} false when it was saved already, and nothing was done
 */
export const saveOnce = (item) =>
  across('readwrite', async (shelves) => {
    const { by, id, record } = item;
    const name = workName(by, record.visit_id);
    const kept = /** @type {Work | undefined} */ (await got(shelves.downloaded.get(name)));
    if (kept?.id === id) await got(shelves.downloaded.delete(name));
    if (await isSaved(shelves, by, record.visit_id, id)) return false;
    await got(shelves.waiting.put(item));
    return true;
  });

/**
 * Takes a record off the shelf of those that wait and remembers its id, both or neither, with the receipt that came for it. The record
 * itself is kept until a copy of the server's records holds it, unless there is no room for that.
 * @param {Waiting} item @param {Sent} sent @param {string | null} receipt @param {boolean} [whole]
 */
export const markSent = (item, sent, receipt, whole = true) =>
  across('readwrite', async ({ waiting, downloaded }) => {
    const name = sentName(item.by, item.record.visit_id);
    const before = /** @type {Sent[]} */ ((await got(downloaded.get(name))) ?? []);
    await got(downloaded.put([...before.filter((one) => one.id !== sent.id), sent], name));
    await got(waiting.delete(item.id));
    await keepReceipt(downloaded, receipt);
    if (whole) await keepSent(downloaded, item, receipt);
  });

/** Takes away work of which nothing is to be recorded. @param {Work} work */
export const dropWork = (work) =>
  across('readwrite', async ({ downloaded }) => {
    const kept = /** @type {Work | undefined} */ (await got(downloaded.get(workName(work.by, work.visit))));
    if (kept?.id === work.id) await got(downloaded.delete(workName(work.by, work.visit)));
  });

/** Ids of the records of a person that have left this phone. @param {string} by @returns {Promise<Set<string>>} */
export const sentBy = (by) =>
  across('readonly', async ({ downloaded }) => new Set((await got(downloaded.getAll(IDBKeyRange.bound(sentName(by, ''), sentName(by, '\uffff'))))).flat().map((/** @type {Sent} */ one) => one.id)));

/**
 * Keeps a day, and marks the records that it counts. What was opened of other days and never begun goes, and so does the memory
 * of what was sent for them.
 * @param {import('./day.js').Day} day @param {Set<string>} known ids of the records that had left the phone before the day was asked for
 */
export const keepDay = (day, known) =>
  across('readwrite', async ({ downloaded }) => {
    await got(downloaded.put(day, 'day'));
    const mine = day.me.person.id;
    const listed = new Set([...day.day.visits, ...(day.gone ?? []).map((one) => one.stop)].map((stop) => stop.visit.id));
    for (const key of await got(downloaded.getAllKeys())) {
      const [kind, by, visit] = String(key).split('/');
      if (by !== mine || (kind !== 'sent' && kind !== 'work')) continue;
      const value = await got(downloaded.get(key));
      if (kind === 'work') {
        if (!listed.has(visit) && value.id === '') await got(downloaded.delete(key));
        continue;
      }
      const sent = /** @type {Sent[]} */ (value).map((one) => (known.has(one.id) ? { ...one, counted: true } : one));
      if (!listed.has(visit) && sent.every((one) => one.counted)) await got(downloaded.delete(key));
      else await got(downloaded.put(sent, key));
    }
  });

/**
 * Takes a day off the phone: what was downloaded, and with `mine` what this person began and sent. The begun work of whoever
 * else works with this phone stays until they come back.
 * @param {string} mine the person who erases it, or nobody
 */
export const forget = (mine) =>
  across('readwrite', async ({ downloaded }) => {
    const stays = (/** @type {string} */ name) => name === RECEIPT || /^(work|sent|kept)\//.test(name) && (mine === '' || name.split('/')[1] !== mine);
    for (const key of await got(downloaded.getAllKeys())) if (!stays(String(key))) await got(downloaded.delete(key));
  });

/**
 * Gives what an earlier version of this page kept its owner and its id. Until now a phone kept the begun work of one person
 * alone, that of the day on it.
 */
export const adoptOldWork = () =>
  across('readwrite', async ({ downloaded }) => {
    const day = await got(downloaded.get('day'));
    if (day === undefined) return;
    const by = day.me.person.id;
    const stopOf = (/** @type {string} */ id) => day.day.visits.find((/** @type {any} */ one) => one.visit.id === id);
    for (const key of await got(downloaded.getAllKeys())) {
      const old = /^(work|recorded)\/([^/]+)$/.exec(String(key));
      if (old === null) continue;
      const [, kind, visit] = old;
      const value = await got(downloaded.get(key));
      await got(downloaded.delete(key));
      if (!value) continue;
      if (kind === 'recorded') await got(downloaded.put([{ id: '' }], sentName(by, visit)));
      else if ((await got(downloaded.getKey(workName(by, visit)))) === undefined) await got(downloaded.put({ ...fresh(by, visit, ''), ...value, stop: stopOf(visit), decision: day.decisions[visit], id: value.started_at ? newId() : '' }, workName(by, visit)));
    }
  });
