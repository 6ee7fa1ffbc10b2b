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

/** What may be left out by itself of what was seen. @type {Record<string, string>} */
const LEFT_OUT = { watered_in: 'the watering in', notices: 'the notices', label_instructions: 'the instruction of the label', no_label_instruction: 'that the label has no instruction', kept_from_water_ft: 'the distance from water', kept_from_drains_ft: 'the distance from drains' };

/** @param {string} place */
const named = (place) => NAMES[/** @type {keyof typeof NAMES} */ (partsOfPlace(place)[0])] ?? place;

/** The steps to what a fault is about. @param {string} place */
const partsOfPlace = (place) => place.replace(/^#/, '').split('/').slice(1);

/** What the faults of a record are about. @param {Waiting} item @returns {string[][]} */
const faultyOf = (item) => (item.problem?.errors ?? []).map((/** @type {any} */ error) => partsOfPlace(error.pointer ?? ''));

/** What the phone knows of the stops, for the parts that a section has by now. @typedef {any[]} Stops */

/** @param {Waiting[]} items @param {string} zone of the company @param {Stops} stops @param {() => void} back @returns {Promise<HTMLElement>} */
export async function refusedPage(items, zone, stops, back) {
  return h('section', {}, h('button', { class: 'plain', type: 'button', onclick: back }, '‹ Back to the day'), h('h1', {}, 'Records that were refused'), helpLink('/recording#when-a-record-is-refused', 'Help: when a record is refused'), ...items.map((item) => one(item, zone, stops, back)));
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

/** What was seen may be what was refused, and the work is recorded without it. @param {Waiting} item */
function seenOf(item) {
  const faulty = [...new Set(faultyOf(item).filter(([what]) => what === 'seen').map(([, field = '']) => field))];
  const boxes = faulty.map((field) => ({ field, box: /** @type {HTMLInputElement} */ (h('input', { type: 'checkbox' })) }));
  const nodes = boxes.map(({ field, box }) => h('label', { class: 'finding' }, box, h('span', {}, `Leave out ${LEFT_OUT[field] ?? 'what else was seen'}; the office can add it to the record.`)));
  const apply = (/** @type {any} */ mended) => {
    for (const { field } of boxes.filter(({ box }) => box.checked)) {
      if (field in LEFT_OUT) delete mended.seen?.[field];
      else delete mended.seen;
    }
    if (mended.seen && Object.keys(mended.seen).length === 0) delete mended.seen;
  };
  return { nodes, apply };
}

/**
 * One line of the record: the amount, and where it lies. An area that was said may be what was refused, and so may parts, which
 * the office has named anew since.
 * @param {Waiting} item @param {any} line @param {number} at @param {Stops} stops
 */
function lineOf(item, line, at, stops) {
  const number = (/** @type {string} */ name, /** @type {string} */ value) => {
    const input = /** @type {HTMLInputElement} */ (h('input', { id: `${name}-${item.id}-${at}`, inputmode: 'decimal', autocomplete: 'off' }));
    input.value = value;
    return input;
  };
  const field = (/** @type {HTMLInputElement} */ input, /** @type {string} */ label, /** @type {string} */ unit) => h('div', { class: 'amount' }, h('label', { for: input.id }, label), input, h('span', { class: 'unit' }, unit));
  const used = number('line', line.product_lb);
  const unknown = line.parts !== undefined && faultyOf(item).some(([what, place, field]) => what === 'lines' && place === String(at) && field === 'parts');
  const area = line.treated_area_sqft !== undefined || unknown ? number('area', line.treated_area_sqft ?? '') : null;
  const stop = stops.find((one) => one.visit.id === item.record.visit_id);
  const divided = unknown ? ((stop?.divisions ?? []).find((/** @type {any} */ one) => one.section_id === line.section_id)?.parts ?? []) : [];
  const boxes = divided.map((/** @type {any} */ part) => ({ name: part.name, box: /** @type {HTMLInputElement} */ (h('input', { type: 'checkbox' })) }));
  const where = () => {
    const parts = boxes.filter((/** @type {any} */ { box }) => box.checked).map((/** @type {any} */ { name }) => name);
    const feet = areaNumber(area?.value ?? '');
    return !unknown ? (area ? { treated_area_sqft: feet } : {}) : parts.length > 0 ? { parts, treated_area_sqft: undefined } : { parts: undefined, treated_area_sqft: feet };
  };
  const nodes = [
    unknown ? h('p', {}, `It was recorded as ${line.parts.join(', ')}. ${boxes.length > 0 ? 'Tick the parts that were treated, as they are called now; or say how many square feet.' : 'Say how many square feet were treated.'}`) : null,
    ...boxes.map((/** @type {any} */ { name, box }) => h('label', { class: 'finding' }, box, h('span', {}, name))),
    area ? field(area, 'Treated', 'sq ft') : null,
    field(used, 'Used', 'lb'),
  ];
  const wrong = () => (unknown && where().parts === undefined && where().treated_area_sqft === '' ? 'Say which part was treated, or how many square feet.' : '');
  return { nodes, wrong, read: () => ({ ...line, ...where(), product_lb: used.value.trim().replace(',', '.') }) };
}

/** @param {Waiting} item @param {string} zone @param {Stops} stops @param {() => void} back */
function one(item, zone, stops, back) {
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
    const record = structuredClone({ ...item.record, ...(findings.length === 0 ? {} : { acknowledged: [...read], reason: reason.value.trim() }), lines: lines.map((line) => line.read()) });
    fault.textContent = lines.map((line) => line.wrong()).find((wrong) => wrong !== '') ?? times.apply(record);
    if (fault.textContent !== '') return;
    seen.apply(record);
    await sendAgain({ ...item, record, state: 'waiting', problem: null });
    back();
  };
  const off = async () => {
    await takeOff(item);
    back();
  };
  const times = timesOf(item, zone);
  const seen = seenOf(item);
  /** @type {ReturnType<typeof lineOf>[]} */
  const lines = item.record.lines.map((/** @type {any} */ line, /** @type {number} */ at) => lineOf(item, line, at, stops));
  const faults = (item.problem?.errors ?? []).map((/** @type {any} */ error) => h('li', {}, `${named(error.pointer ?? error.parameter ?? '')}: ${error.detail}`));
  return h('article', {}, h('h2', {}, item.words), h('p', {}, item.problem?.detail ?? 'The server did not take it.'), h('ul', {}, ...faults), ...boxes,
    ...lines.flatMap((line) => line.nodes),
    ...seen.nodes,
    ...times.nodes,
    findings.length > 0 ? h('div', {}, h('label', { for: `reason-${item.id}` }, 'Why it was done all the same'), reason) : null, fault,
    h('button', { type: 'button', class: 'big', onclick: () => void again() }, findings.length > 0 ? 'Send, against the rule' : 'Send corrected record'),
    h('details', {}, h('summary', {}, "I can't fix this"), h('p', {}, 'Tell the office what was done, and wait until it is written down there. Only then:'),
      h('button', { type: 'button', class: 'warned', onclick: () => void off() }, 'Delete here: the office wrote it down')));
}
