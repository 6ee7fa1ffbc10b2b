// @ts-check
// Records that the server did not take. Each says why; what truly happened is sent again with every reason read, or the amounts
// and the times are corrected.

import { h, helpLink } from './dom.js';
import { areaNumber } from './fields.js';
import { sendAgain, takeOff } from './queue.js';
import { localTime, momentAt } from './time.js';

/** @typedef {import('./shelf.js').Waiting} Waiting */

/** What the parts of a record are called on the pages; a fault names them by their place. */
const NAMES = { lines: 'The amounts used', started_at: 'The start', finished_at: 'The end', weather: 'The weather', ground: 'The ground', equipment: 'The spreader', product_id: 'The product', property_id: 'The property', visit_id: 'The visit', pavement_cleaned: 'The pavement', reason: 'The reason', seen: 'What else was seen', supervisor_id: 'The supervisor', present_ids: 'Who else was there' };

/** @param {string} place */
const named = (place) => NAMES[/** @type {keyof typeof NAMES} */ (place.replace(/^#/, '').split('/')[1])] ?? place;

/** @param {Waiting[]} items @param {string} zone of the company @param {() => void} back @returns {Promise<HTMLElement>} */
export async function refusedPage(items, zone, back) {
  return h('section', {}, h('button', { class: 'plain', type: 'button', onclick: back }, '‹ Back to the day'), h('h1', {}, 'Records that were refused'), helpLink('/recording#when-a-record-is-refused', 'Help: when a record is refused'), ...items.map((item) => one(item, zone, back)));
}

/**
 * The start and the end as they were recorded, to be corrected. What was seen at either goes with it.
 * @param {Waiting} item @param {string} zone
 */
function timesOf({ id, record }, zone) {
  const field = (/** @type {'started_at' | 'finished_at'} */ name, /** @type {string} */ label) => {
    const input = /** @type {HTMLInputElement} */ (h('input', { id: `${name}-${id}`, type: 'datetime-local' }));
    const before = localTime(record[name], zone);
    input.value = before;
    // The field has no seconds: what was not touched keeps its own.
    const read = () => (input.value === before ? record[name] : momentAt(input.value, zone));
    return { node: h('div', { class: 'line' }, h('label', { for: input.id }, label), input), read, shows: () => input.value };
  };
  const [start, end] = [field('started_at', 'Started'), field('finished_at', 'Finished')];
  /** @param {any} mended the record with corrected amounts @returns {string} what is wrong with the times; nothing when they were taken */
  const apply = (mended) => {
    const from = start.read();
    // The minute of the start has seconds that the field does not show.
    const to = start.shows() === end.shows() && end.read() !== null ? new Date(Math.max(+new Date(from), +new Date(end.read()))).toISOString() : end.read();
    if (from === null || to === null) return 'Say when the work was started and finished.';
    if (new Date(to) < new Date(from)) return 'The work was finished before it was started. Correct the times.';
    const [began, ended] = [new Date(from).toISOString(), new Date(to).toISOString()];
    const moved = (/** @type {string} */ at) => (at === record.started_at ? began : at === record.finished_at ? ended : at);
    for (const one of [mended.weather?.air_temperature, mended.weather?.wind]) if (one) one.observed_at = moved(one.observed_at);
    if (mended.seen?.watered_in) mended.seen.watered_in.at = moved(mended.seen.watered_in.at);
    const corrected = +new Date(began) !== +new Date(record.started_at) || +new Date(ended) !== +new Date(record.finished_at);
    // What the phone's clock said stood beside the times as they were noted. Beside corrected ones it would say that it was set.
    if (corrected) for (const name of ['phone_started_at', 'phone_finished_at']) delete mended[name];
    mended.started_at = began;
    mended.finished_at = ended;
    return '';
  };
  return { nodes: [start.node, end.node], apply };
}

/** @param {Waiting} item @param {string} zone @param {() => void} back */
function one(item, zone, back) {
  const findings = (item.problem?.findings ?? []).filter((/** @type {any} */ finding) => finding.verdict === 'stop');
  const read = new Set();
  const reason = /** @type {HTMLTextAreaElement} */ (h('textarea', { id: `reason-${item.id}`, rows: 3, maxlength: 1000 }));
  const fault = h('p', { role: 'alert', class: 'fault' });
  const boxes = findings.map((/** @type {any} */ finding) => {
    const toggle = (/** @type {Event} */ event) => (/** @type {HTMLInputElement} */ (event.target).checked ? read.add(finding.key) : read.delete(finding.key));
    return h('label', { class: 'finding' }, h('input', { type: 'checkbox', onchange: toggle }), h('span', {}, finding.message, ' ', h('em', {}, finding.hint), ' ', h('small', {}, finding.citation)));
  });
  const again = async () => {
    if (read.size < findings.length) return void (fault.textContent = 'Read every reason and tick it.');
    if (findings.length > 0 && reason.value.trim() === '') return void (fault.textContent = 'Say why it was done all the same.');
    const record = structuredClone({ ...item.record, ...(findings.length === 0 ? {} : { acknowledged: [...read], reason: reason.value.trim() }), lines: lines() });
    fault.textContent = times.apply(record);
    if (fault.textContent !== '') return;
    await sendAgain({ ...item, record, state: 'waiting', problem: null });
    back();
  };
  const off = async () => {
    await takeOff(item);
    back();
  };
  const times = timesOf(item, zone);
  const amounts = item.record.lines.map((/** @type {any} */ line, /** @type {number} */ at) => {
    const input = /** @type {HTMLInputElement} */ (h('input', { id: `line-${item.id}-${at}`, inputmode: 'decimal', autocomplete: 'off' }));
    input.value = line.product_lb;
    return { line, input };
  });
  // An area that was said may be what was refused.
  const areas = item.record.lines.map((/** @type {any} */ line, /** @type {number} */ at) => {
    if (line.treated_area_sqft === undefined) return null;
    const input = /** @type {HTMLInputElement} */ (h('input', { id: `area-${item.id}-${at}`, inputmode: 'decimal', autocomplete: 'off' }));
    input.value = line.treated_area_sqft;
    return input;
  });
  const lines = () => amounts.map((/** @type {any} */ { line, input }, /** @type {number} */ at) => ({ ...line, ...(areas[at] ? { treated_area_sqft: areaNumber(areas[at].value) } : {}), product_lb: input.value.trim().replace(',', '.') }));
  const faults = (item.problem?.errors ?? []).map((/** @type {any} */ error) => h('li', {}, `${named(error.pointer ?? error.parameter ?? '')}: ${error.detail}`));
  return h('article', {}, h('h2', {}, item.words), h('p', {}, item.problem?.detail ?? 'The server did not take it.'), h('ul', {}, ...faults), ...boxes,
    ...amounts.flatMap((/** @type {any} */ { input }, /** @type {number} */ at) => [
      areas[at] ? h('div', { class: 'amount' }, h('label', { for: `area-${item.id}-${at}` }, 'Treated'), areas[at], h('span', { class: 'unit' }, 'sq ft')) : null,
      h('div', { class: 'amount' }, h('label', { for: `line-${item.id}-${at}` }, 'Used'), input, h('span', { class: 'unit' }, 'lb'))]),
    ...times.nodes,
    findings.length > 0 ? h('div', {}, h('label', { for: `reason-${item.id}` }, 'Why it was done all the same'), reason) : null, fault,
    h('button', { type: 'button', class: 'big', onclick: () => void again() }, findings.length > 0 ? 'Send, against the rule' : 'Send corrected record'),
    h('details', {}, h('summary', {}, "I can't fix this"), h('p', {}, 'Tell the office what was done, and wait until it is written down there. Only then:'),
      h('button', { type: 'button', class: 'warned', onclick: () => void off() }, 'Delete here: the office wrote it down')));
}
