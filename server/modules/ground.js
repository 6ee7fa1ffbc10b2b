// @ts-check
// How a stop stands: what the server told with the day, and the records of this phone since.

import { mark } from './answer.js';
import { clock } from './dom.js';
import { groundsOf, openWords } from './parts.js';

/** @typedef {{ state: string, kind: string, known: string, grounds: import('./parts.js').Ground[], begun: boolean, fate?: string }} Standing */

/** How a stop stands, in a word, and what to know before it is opened again. @param {any} stop @param {any} decision @param {import('./day.js').Day} day @param {import('./work.js').Kept} kept @returns {Standing} */
export function standing(stop, decision, day, kept) {
  const items = kept.items.filter((one) => one.record.visit_id === stop.visit.id);
  const sent = kept.sent.get(stop.visit.id) ?? [];
  const everything = stop.sections.map((/** @type {any} */ section) => ({ section_id: section.id }));
  const since = [...items.map((item) => item.record.lines), ...sent.filter((one) => !one.counted).map((one) => one.lines ?? everything)];
  const grounds = groundsOf(stop, since);
  const part = grounds.some((one) => one.touched) && grounds.some((one) => one.open !== 0);
  const left = part ? `Open: ${openWords(grounds)}.` : '';
  const work = kept.works.get(stop.visit.id);
  if (items.some((item) => item.state === 'refused')) return { state: '▲ its record was refused', kind: part ? 'care' : 'done', known: `The server did not take the record of this stop: open it above, where it says so. ${left}`.trim(), grounds, begun: work?.id !== undefined && work.id !== '' };
  if (work?.id) return { state: `● begun at ${clock(work.started_at, day.me.time_zone)}, not recorded yet`, kind: 'care', known: '', grounds, begun: work?.id !== undefined && work.id !== '' };
  if (part) return { state: `◐ part done. ${left}${items.length > 0 ? ' ● waiting to be sent' : ''}`, kind: 'care', known: `Part of this stop is recorded. ${left}`, grounds, begun: work?.id !== undefined && work.id !== '' };
  if (items.length > 0) return { state: '● waiting to be sent', kind: 'done', known: 'A record of this stop waits on this phone.', grounds, begun: work?.id !== undefined && work.id !== '' };
  if (grounds.every((one) => one.open === 0)) return { state: '✓ recorded', kind: 'done', known: 'This stop is recorded already.', grounds, begun: work?.id !== undefined && work.id !== '' };
  return { state: mark(decision), kind: decision?.verdict ?? 'care', known: '', grounds, begun: work?.id !== undefined && work.id !== '' };
}
