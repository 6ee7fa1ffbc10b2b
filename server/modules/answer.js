// @ts-check
// The answer to "how much, and may I?" as a technician reads it: pounds and bags for each section, what binds, and why.

import { writtenDay } from './day.js';
import { atMost, clock, h, helpLink, pounds, threeFigures, tooMuch } from './dom.js';
import { leftOf } from './parts.js';
import { weatherHold } from './weather.js';

const SHAPE = { go: '●', care: '▲', stop: '■' };
const WORD = { go: 'Go', care: 'Take care', stop: 'Stop' };

/** A verdict as a shape and a word; nothing known is never go. @param {any} decision */
export const mark = (decision) => {
  const verdict = /** @type {keyof typeof SHAPE} */ (decision?.verdict ?? 'care');
  return `${SHAPE[verdict]} ${WORD[verdict].toLowerCase()}`;
};

/** The verdict in its sentence. @param {any} decision */
export const sentence = (decision) => (decision ? `${SHAPE[/** @type {keyof typeof SHAPE} */ (decision.verdict)]} ${decision.summary}` : '▲ Take care: no answer was downloaded for this stop.');

/** The answer about one section. @param {any} decision @param {string} section */
export const answerOf = (decision, section) => decision?.sections.find((/** @type {any} */ one) => one.section_id === section);

/**
 * What is open about a stop: little room left under the year's cap, the weather, and what else the server told.
 * @param {any} stop @param {any} decision @param {import('./day.js').Day} day @returns {string[]}
 */
export function openPoints(stop, decision, day) {
  const told = (stop.open ?? []).map((/** @type {any} */ point) => point.words);
  const target = Number(stop.visit.target_nitrogen_lb_per_1000_sqft ?? 0);
  const tight = stop.sections.flatMap((/** @type {any} */ section) => {
    const after = answerOf(decision, section.id)?.nitrogen_room_after_lb_per_1000_sqft;
    if (after === null || after === undefined) return [];
    if (Number(after) < 0) return [`No room for this on the ${section.name}: ${tooMuch(-after)} lb N per 1,000 sq ft too much for the year.`];
    return Number(after) < target ? ['The next round will not fit into this year.'] : [];
  });
  return [...new Set(tight), ...weatherHold(stop, day), ...told];
}

const QUARTERS = ['', '¼', '½', '¾'];

/** Product in bags as people carry them, to a quarter. @param {number} product @param {any} stop */
function bags(product, stop) {
  const quarters = Math.round((product / Number(stop.product.net_weight_lb)) * 4);
  const [whole, part] = [Math.floor(quarters / 4), quarters % 4];
  const few = ['less than a quarter bag', 'about a quarter bag', 'about half a bag', 'about three quarters of a bag'];
  const words = whole === 0 ? few[part] : `about ${whole}${QUARTERS[part]} ${quarters === 4 ? 'bag' : 'bags'}`;
  return `${words} (${pounds(stop.product.net_weight_lb)} lb)`;
}

/**
 * What may go on a section: what is planned, or less where a limit lets less through. Nobody is to read a figure in large
 * print that must not go down.
 * @param {any} answer @returns {{ product: number, half: string, planned: number | null }}
 */
export function amount(answer) {
  const planned = Number(answer.product_lb);
  const most = answer.largest_lawful_product_lb;
  if (most === null || most === undefined || planned <= Number(most)) return { product: planned, half: atMost(answer.half_rate_product_lb_per_1000_sqft), planned: null };
  return { product: Number(atMost(most)), half: atMost((Number(most) / Number(answer.area_sqft)) * 500), planned };
}

/**
 * The share of what was asked about that is still to be done: where only the rest was asked about, all of it.
 * @param {import('./parts.js').Ground} ground @param {any} answer
 */
export const shareOf = ({ open, touched }, answer) => (touched && open ? Math.min(1, open / Number(answer.area_sqft)) : 1);

/**
 * The limits of each section with their citations, and how old its area is, a tap away.
 * @param {any} stop @param {any} decision @param {import('./day.js').Day} day @returns {HTMLElement | null}
 */
export function limits(stop, decision, day) {
  const rows = stop.sections.flatMap((/** @type {any} */ section) => {
    const answer = answerOf(decision, section.id);
    if (!answer) return [];
    const most = answer.largest_lawful_product_lb;
    const words = most === null || most === undefined ? '' : `limit ${threeFigures(Number(most), true)} lb. `;
    const measured = section.measured_on ? `measured ${writtenDay(section.measured_on, day.dates)}; ` : '';
    return [h('li', {}, h('strong', {}, section.name), `, ${measured}${words}${answer.bound_by_words ?? ''}`)];
  });
  return rows.length === 0 ? null : h('details', {}, h('summary', { 'data-key': 'limits' }, 'Limits'), h('ul', { class: 'amounts' }, ...rows));
}

/**
 * How much goes on what is still open of each section.
 * @param {any} stop @param {any} decision @param {import('./parts.js').Ground[]} grounds @returns {HTMLElement}
 */
export function howMuch(stop, decision, grounds) {
  const rows = grounds.map((ground) => {
    const { section, open } = ground;
    // Large print is for what is to be done.
    if (open === 0) return h('li', {}, h('strong', {}, section.name), ': recorded.');
    const answer = answerOf(decision, section.id);
    const area = section.area_sqft === null ? 'not measured' : `${Number(section.area_sqft).toLocaleString('en-US')} sq ft`;
    if (!answer) return h('li', {}, h('strong', {}, section.name), `, ${area}: no amount was planned. Ask the office.`);
    const share = shareOf(ground, answer);
    const { half, planned, product: all } = amount(answer);
    const product = share === 1 ? all : Number(atMost(all * share));
    const left = ground.touched && open !== null ? `; ${leftOf(ground)} still open` : '';
    return h('li', {},
      h('p', { class: 'lead' }, h('strong', {}, section.name), `, ${area}${left}`),
      planned === null ? null : h('p', { class: 'open-point' }, `▲ Planned were ${threeFigures(planned)} lb: more than may go down. ${product === 0 ? 'Nothing more may.' : 'At most:'}`),
      h('p', { class: 'figure' }, h('strong', {}, `${threeFigures(product, answer.largest_lawful_product_lb !== null)} lb`), product === 0 ? null : h('span', {}, bags(product, stop))),
      product === 0 ? null : h('p', {}, 'Two passes crosswise, ', h('strong', {}, `${half} lb per 1,000 sq ft`), ' each.'));
  });
  return h('section', {}, h('h2', {}, stop.product.name), h('ul', { class: 'amounts' }, ...rows));
}

const STANDING = { fresh: '✓ in order', due: '▲ due soon', out: '■ too old: calibrate again' };

/** How the machines are set for this product and person, by the calibrations in force. @param {any} stop @param {import('./day.js').Day} day @returns {HTMLElement} */
export function settings(stop, day) {
  const rows = (stop.calibrations ?? []).map((/** @type {any} */ one) => {
    const { calibration } = one;
    const gave = calibration.result.product_lb_per_1000_sqft;
    const machine = day.machines?.[calibration.equipment_id] ?? 'A machine';
    return h('li', {}, h('strong', {}, `${machine}: ${calibration.setting ? `set at ${calibration.setting}` : 'setting not written down'}`),
      `${gave ? `, put down ${pounds(gave)} lb per 1,000 sq ft` : ''}. Calibrated ${writtenDay(calibration.calibrated_on, day.dates)}, ${one.days_since} ${one.days_since === 1 ? 'day' : 'days'} ago, used ${one.applications_since} ${one.applications_since === 1 ? 'time' : 'times'} since: ${STANDING[/** @type {keyof typeof STANDING} */ (one.standing)] ?? one.standing}.`);
  });
  return h('section', {}, h('h2', {}, 'How your spreader was calibrated'),
    rows.length > 0 ? h('ul', { class: 'amounts' }, ...rows) : h('p', {}, '▲ No calibration with this product by you is on record. Check the first pass against what you set for.'));
}

/**
 * The verdict with its reasons and what would clear them, and how old it is.
 * @param {any} decision @param {string} told where the answer comes from, and when @returns {HTMLElement}
 */
export function verdict(decision, told) {
  if (!decision) return h('section', {}, h('h2', {}, 'May I?'), h('p', { class: 'verdict care' }, sentence(decision)));
  const reasons = decision.findings.map((/** @type {any} */ finding) => h('li', {}, `${SHAPE[/** @type {keyof typeof SHAPE} */ (finding.verdict)] ?? '▲'} ${finding.message} `, h('em', {}, finding.hint), h('small', {}, finding.citation)));
  const word = /** @type {keyof typeof SHAPE} */ (decision.verdict);
  return h('section', {}, h('h2', {}, 'May I?'), h('p', { class: `verdict ${word}` }, sentence(decision)), h('p', { class: 'source' }, told),
    reasons.length > 0 ? h('details', { open: word === 'stop' }, h('summary', {}, `${reasons.length} ${reasons.length === 1 ? 'reason' : 'reasons'}, and what would clear ${reasons.length === 1 ? 'it' : 'them'}`), h('ul', {}, ...reasons)) : null,
    helpLink('/check', 'Help: go, care, stop'));
}

/** Where an answer comes from. @param {any} stop @param {import('./day.js').Day} day @param {{ at: number } | null} asked */
export const source = (stop, day, asked) =>
  asked ? `Answered by the office's server at ${clock(asked.at, day.me.time_zone)}, with what you saw here.` : `Downloaded at ${clock(day.at, day.me.time_zone)}, for a ${(day.assumed?.[stop.visit.id] ?? day.equipment ?? 'rotary_spreader').replaceAll('_', ' ')}; ground and air here were not known then, so it never says go.`;

/** Cautions that stand on the page of the work itself. */
export const cautions = () =>
  h('section', { class: 'caution' }, h('h2', {}, 'Before you fill'), h('ul', {},
    h('li', {}, 'Read the label: it prevails over what stands here. Wear what it asks for; gloves and eye protection when you fill.'),
    h('li', {}, 'Keep people and animals off until the label lets them back.'),
    h('li', {}, 'Fill on pavement, sweep up at once, nothing into drains. Keep off water and its edge.'),
    h('li', {}, 'Look at the sky and the ground: nothing before heavy rain, in heat, or on frozen or soaked ground. Watch your footing on slopes; keep hands out of a spreader that turns.')));
