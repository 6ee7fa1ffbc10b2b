// @ts-check
// Before anything is taken off the phone: what would be lost is named, and the safe way comes first.

import { clock, h } from './dom.js';

/** @typedef {import('./work.js').Work} Work */

/**
 * @param {number} records that are only on this phone @param {Work[]} begun @param {string} zone
 * @param {{ back: () => void, send: () => void, erase: () => void }} ways @returns {Node[]}
 */
export function leavingPage(records, begun, zone, { back, send, erase }) {
  const unsent = records === 0 ? null : h('p', { role: 'alert' }, `${records} ${records === 1 ? 'record is' : 'records are'} only on this phone. Send them first; until then they are kept.`);
  const lost = begun.map((work) => h('li', {}, h('strong', {}, work.stop?.property.address ?? 'A stop'), `, begun at ${clock(work.started_at, zone)}`));
  const work = begun.length === 0 ? null : h('section', {}, h('h2', {}, 'Begun here and not saved'), h('ul', {}, ...lost), h('p', {}, 'It is only on this phone. Erased, it is lost: open the stop and save it, or write it down first.'));
  const code = records > 0 || begun.length > 0 ? null : h('p', {}, "Today's stops leave this phone. To come back you need a new code from the office.");
  const safe = h('button', { type: 'button', class: records > 0 ? 'plain' : 'big', onclick: back }, begun.length > 0 ? 'Keep it and go back' : 'Back to the day');
  const now = h('button', { type: 'button', class: 'big', onclick: send }, 'Send now');
  const last = h('div', { class: 'apart' }, h('button', { type: 'button', class: 'warned', onclick: erase }, begun.length > 0 ? 'Erase this work and sign out' : 'Erase and sign out'));
  const nodes = records > 0 ? [unsent, now, safe, work] : [work, code, safe, last];
  return [h('h1', {}, records > 0 ? 'Not yet' : 'Sign out and erase?'), ...nodes.filter((node) => node !== null)];
}
