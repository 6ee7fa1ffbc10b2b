// @ts-check
// How much of each section stands recorded: what the server told with the day, and the records of this phone since.

import { mark } from './answer.js';
import { clock } from './dom.js';

/** @typedef {{ section_id: string, treated_area_sqft?: string, product_lb: string }} Line */
/** @typedef {{ section: any, area: number | null, open: number | null, touched: boolean }} Ground how much of a section is still open, in square feet; null where it was never measured and has no record */
/** @typedef {{ state: string, kind: string, known: string, grounds: Ground[], begun: boolean, fate?: string }} Standing */

/** Square feet as people read them. @param {number} area */
export const squareFeet = (area) => `${(Math.round(area * 100) / 100).toLocaleString('en-US')} sq ft`;

/**
 * @param {any} stop @param {Line[][]} since lines of records that the day does not count yet @returns {Ground[]}
 */
export function groundsOf(stop, since) {
  return stop.sections.map((/** @type {any} */ section) => {
    const area = section.area_sqft === null ? null : Number(section.area_sqft);
    const told = (stop.recorded_sections ?? []).find((/** @type {any} */ one) => one.section_id === section.id);
    // A day of an older version says only whether any record came in.
    const done = stop.visit.status === 'done' || stop.recorded;
    // More than the whole section is never open, whatever was measured meanwhile: the amount is reckoned by it.
    const before = done ? 0 : told ? Math.min(Number(told.open_area_sqft ?? 0), area ?? Infinity) : area;
    const lines = since.flat().filter((line) => line.section_id === section.id);
    const taken = lines.reduce((sum, line) => sum + Number(line.treated_area_sqft ?? Infinity), 0);
    const open = lines.length === 0 ? before : Math.max(0, (before ?? 0) - taken);
    return { section, area, open, touched: done || told !== undefined || lines.length > 0 };
  });
}

/** Sections that are still to be treated, or all where none is: what is done beyond the plan is recorded too. @param {Ground[]} grounds */
export const openGrounds = (grounds) => (grounds.some((one) => one.open !== 0) ? grounds.filter((one) => one.open !== 0) : grounds);

/** What is still open, in words. @param {Ground[]} grounds */
const openWords = (grounds) =>
  grounds.filter((one) => one.open !== 0).map((one) => (one.touched && one.open !== null ? `${squareFeet(one.open)} of the ${one.section.name}` : `the ${one.section.name}`)).join(', ');

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
