// @ts-check
// What belongs on the record beside the amounts: asked where the law of this stop wants it, and else left to whoever wants to
// tell it. Whatever somebody saw is asked and never filled in beforehand.

import { supervised } from './day.js';
import { h } from './dom.js';
import { choice, line, number, optional, several, typed } from './fields.js';
import { localTime, momentAt, serverNow } from './time.js';

/** @typedef {import('./stop.js').Visit} Visit */
/** @typedef {import('./work.js').Work} Work */
/** @typedef {{ kind: string, to: string, at: string }} Notice `at` is what a clock showed, as it was typed */
/** @typedef {{ sky?: string, wind?: string, mph?: string, label?: string, words?: string, told?: string, measured?: string, water?: string, drains?: string, watered?: string, at?: string, notices?: Notice[], present?: string[] }} Seen what was answered, a word for each question */
/** @typedef {{ field: string, words: string, source: { citation: string } }} Ask what the law of a stop wants on its record */

const SKY = { clear: 'Clear', partly_cloudy: 'Partly cloudy', overcast: 'Overcast', fog: 'Fog', rain: 'Rain', snow: 'Snow' };
const WIND = { north: 'North', northeast: 'Northeast', east: 'East', southeast: 'Southeast', south: 'South', southwest: 'Southwest', west: 'West', northwest: 'Northwest', variable: 'Changing', calm: 'No wind' };
const MEASURED = { weighed: 'Weighed', bags_counted: 'Bags counted', hopper_scale: 'Scale of the hopper', flow_meter: 'Flow meter', tank_gauge: 'Gauge of the tank', calibration: 'Not measured: by the calibration' };
const WATERED = { not_yet: 'Not yet', client: 'The client', irrigation: 'An irrigation system', rain: 'Rain', company: 'We did' };
/** @type {Record<string, string>} */
const NOTICE = { sign: 'Sign', door_card: 'Door card', email: 'E-mail', text_message: 'Text message', letter: 'Letter', spoken: 'Spoken' };
const NOTICE_TO = { client: 'The client', occupant: 'Whoever lives there', neighbors: 'The neighbors', public: 'Whoever comes by' };
const UNKNOWN = { unknown: 'Not known' };

/** @param {Work} work @returns {Seen} */
const seenOf = (work) => (work.seen ??= {});

/** What the law wants of this stop's record. @param {any} stop @returns {Ask[]} */
const asksOf = (stop) => stop.asks ?? [];

/**
 * The questions that answer what a law asks: how they are drawn, whether one of them is answered, and whether all of them are said
 * to be not known. Any condition at the start is weather, so one answer will do.
 * @type {Record<string, { draw: (visit: Visit, asked: boolean) => (Node | null)[], told: (work: Work) => boolean, unknown: (work: Work) => boolean, ask: string, figure?: boolean }>}
 */
const ANSWERS = {
  weather_at_start: {
    draw: weather,
    told: ({ seen = {}, air }) => known(seen.sky) || known(seen.wind) || (seen.mph ?? '').trim() !== '' || air.trim() !== '',
    unknown: ({ seen = {} }) => seen.sky === 'unknown' && seen.wind === 'unknown',
    ask: 'How was the weather at the start? Sky or wind will do; say "Not known" to both if you cannot tell.',
  },
  wind_direction: {
    draw: (visit, asked) => (asked ? [windFrom(visit, true)] : []),
    told: ({ seen = {} }) => known(seen.wind),
    unknown: ({ seen = {} }) => seen.wind === 'unknown',
    ask: 'From where did the wind come at the start? Say "Not known" if you cannot tell.',
  },
  // A figure is measured or it is not: nobody is held up for one that a service may have sent.
  wind_speed: {
    draw: (visit, asked) => (asked ? [windSpeed(visit, 'Without a figure from you or from the weather service the record lacks it.')] : []),
    told: ({ seen = {} }) => (seen.mph ?? '').trim() !== '',
    unknown: () => true,
    ask: '',
    figure: true,
  },
  air_temperature: {
    draw: (_, asked) => (asked ? [h('p', {}, 'Enter it under "Air temperature". Without a figure from you or from the weather service the record lacks it.')] : []),
    told: ({ air }) => air.trim() !== '',
    unknown: () => true,
    ask: '',
    figure: true,
  },
  special_label_instruction: {
    draw: instruction,
    told: ({ seen = {} }) => known(seen.label),
    unknown: ({ seen = {} }) => seen.label === 'unknown',
    ask: 'Was there a special instruction on the label? Say "Not known" if you cannot tell.',
  },
};

/** @param {string | undefined} word */
const known = (word) => word !== undefined && word !== '' && word !== 'unknown';

/** Whether the label had an instruction that somebody knows of. @param {string | undefined} word */
const instructed = (word) => word === 'kept' || word === 'broken';

/** Keeps a pressed button. @param {Visit} visit @param {keyof Seen} name */
const press = ({ work, redraw }, name) => (/** @type {any} */ word) => {
  seenOf(work)[name] = word;
  redraw();
};

/** Keeps what is typed, without drawing anything anew. @param {Visit} visit @param {keyof Seen} name */
const type = ({ work, keep }, name) => (/** @type {any} */ text) => {
  seenOf(work)[name] = text;
  keep();
};

/** @param {Visit} visit @param {boolean} asked @returns {Node[]} */
function weather(visit, asked) {
  const { sky = '' } = seenOf(visit.work);
  const pick = asked ? choice : optional;
  const more = asked ? UNKNOWN : {};
  // What the law asks by itself stands there and is not asked twice.
  const alone = (/** @type {string} */ field) => asksOf(visit.stop).some((ask) => ask.field === field);
  return [
    pick('The sky at the start', { ...SKY, ...more }, sky, press(visit, 'sky')),
    ...(alone('wind_direction') ? [] : [windFrom(visit, asked)]),
    ...(alone('wind_speed') ? [] : [windSpeed(visit, 'If you measured it.')]),
  ];
}

/** @param {Visit} visit @param {boolean} asked @returns {Node} */
function windFrom(visit, asked) {
  const pick = asked ? choice : optional;
  return pick('The wind at the start came from', { ...WIND, ...(asked ? UNKNOWN : {}) }, seenOf(visit.work).wind ?? '', press(visit, 'wind'));
}

/** @param {Visit} visit @param {string} hint @returns {Node} */
function windSpeed(visit, hint) {
  const changed = (/** @type {string} */ text) => {
    // It is of the start now, as what is typed after the work is.
    visit.work.measured = { ...visit.work.measured, mph: undefined };
    type(visit, 'mph')(text);
  };
  return typed('mph', 'Wind speed', 'mph', seenOf(visit.work).mph ?? '', hint, changed);
}

/** @param {Visit} visit @param {boolean} asked @returns {(Node | null)[]} */
function instruction(visit, asked) {
  const { label = '', words = '', told = '' } = seenOf(visit.work);
  return [
    (asked ? choice : optional)('A special instruction of the label was', { kept: 'Kept', broken: 'Not kept', none: 'None on the label', ...(asked ? UNKNOWN : {}) }, label, press(visit, 'label')),
    instructed(label) ? line('words', 'The instruction, as the label has it', words, type(visit, 'words'), { maxlength: 300, enterkeyhint: 'next' }) : null,
    instructed(label) ? choice('The client was told of it', { yes: 'Told', no: 'Not told' }, told, press(visit, 'told')) : null,
  ];
}

/** @param {Visit} visit @returns {(Node | null)[]} */
function watering(visit) {
  const { watered = '', at = '' } = seenOf(visit.work);
  return [
    optional('Watered in by', WATERED, watered, press(visit, 'watered')),
    known(watered) && watered !== 'not_yet' ? line('watered-at', 'Watered in at', at, type(visit, 'at'), { type: 'time' }) : null,
  ];
}

/** @param {Visit} visit @returns {Node[]} */
function notices(visit) {
  const { work, keep, redraw } = visit;
  const left = seenOf(work).notices ?? [];
  const toggle = (/** @type {string[]} */ kinds) => {
    seenOf(work).notices = kinds.map((kind) => left.find((one) => one.kind === kind) ?? { kind, to: '', at: '' });
    redraw();
  };
  // When it is told here says nothing of when it was given.
  const more = left.flatMap((one) => [
    choice(`${NOTICE[one.kind]}, for`, NOTICE_TO, one.to, (to) => void ((one.to = to), redraw())),
    line(`notice-${one.kind}`, `${NOTICE[one.kind]}: given at`, one.at, (text) => void ((one.at = text), keep()), { type: 'time' }),
  ]);
  return [several('Notice given', NOTICE, left.map((one) => one.kind), toggle), ...more];
}

/** Who else may have been there. @param {Visit} visit @returns {Node | null} */
function present(visit) {
  const others = (visit.day.day.colleagues ?? []).filter((/** @type {any} */ one) => one.id !== visit.work.supervisor);
  const names = Object.fromEntries(others.map((/** @type {any} */ one) => [one.id, one.name]));
  return others.length === 0 ? null : several('Who else was there', names, seenOf(visit.work).present ?? [], press(visit, 'present'));
}

/** What the law of this stop wants beside the amounts, open; and everything else, folded. @param {Visit} visit @returns {(Node | null)[]} */
export function forTheRecord(visit) {
  const { work, stop } = visit;
  const { measured = '', water = '', drains = '' } = seenOf(work);
  const asked = asksOf(stop).filter((ask) => ask.field in ANSWERS);
  const open = asked.flatMap((ask) => {
    const { draw, unknown, told, figure } = ANSWERS[ask.field];
    const lacks = unknown(work) && !told(work) && !figure ? h('p', { class: 'open-point', role: 'status' }, `▲ The record will lack ${ask.words}. The office sees that.`) : null;
    return [h('p', { class: 'source' }, `The law wants ${ask.words} here (${ask.source.citation}).`), ...draw(visit, true), lacks];
  });
  const rest = Object.entries(ANSWERS).filter(([field]) => asked.every((ask) => ask.field !== field));
  const more = [
    optional('How the amount was measured', MEASURED, measured, press(visit, 'measured')),
    typed('water', 'Distance kept from water', 'ft', water, '', type(visit, 'water')),
    typed('drains', 'Distance kept from drains', 'ft', drains, '', type(visit, 'drains')),
    ...watering(visit),
    ...notices(visit),
    ...rest.flatMap(([, one]) => one.draw(visit, false)),
    present(visit),
  ];
  return [
    open.length === 0 ? null : h('section', { class: 'record' }, h('h2', {}, 'For the record'), ...open),
    h('details', { open: visit.more === true, ontoggle: (/** @type {Event} */ event) => void (visit.more = /** @type {HTMLDetailsElement} */ (event.target).open) }, h('summary', { 'data-key': 'more' }, 'More for the record (optional)'), ...more),
  ];
}

/** What still has to be answered, or cannot be so. @param {Visit} visit */
export function missingSeen({ work, stop, day }) {
  const seen = seenOf(work);
  for (const ask of asksOf(stop)) {
    const one = ANSWERS[ask.field];
    if (one && !one.told(work) && !one.unknown(work)) return one.ask;
  }
  if (instructed(seen.label) && (seen.words ?? '').trim() === '') return 'What does the instruction of the label say?';
  if (instructed(seen.label) && !known(seen.told)) return 'Was the client told of the instruction?';
  for (const text of [seen.water, seen.drains]) if (!/^(\d{1,5}(\.\d{1,2})?)?$/.test(number(text ?? ''))) return 'A distance must be a number of feet, such as 15.';
  const unsaid = (seen.notices ?? []).find((one) => one.to === '');
  if (unsaid) return `For whom was the notice (${NOTICE[unsaid.kind].toLowerCase()})?`;
  const undated = (seen.notices ?? []).find((one) => noticeAt(one, work, day.me.time_zone) === null);
  if (undated) return `At what time was the notice given (${NOTICE[undated.kind].toLowerCase()})? Its time must not be still to come.`;
  return wrongWater(work, day.me.time_zone);
}

/** @param {Work} work @param {string} zone */
function wrongWater(work, zone) {
  const { watered = '' } = seenOf(work);
  if (!known(watered) || watered === 'not_yet') return '';
  const at = wateredAt(work, zone);
  if (at === null) return 'When was it watered in?';
  if (at < Date.parse(work.started_at)) return 'The watering in lies before the start.';
  return at > serverNow() + 60_000 ? 'That watering in is still to come: say "Not yet".' : '';
}

/** A day, so many days later. @param {string} day year first @param {number} days */
const later = (day, days) => new Date(Date.parse(`${day}T00:00Z`) + days * 86_400_000).toISOString().slice(0, 10);

/** Whether a moment is not to come; phones and people round up to the minute. @param {number | null} at @returns {at is number} */
const been = (at) => at !== null && at <= serverNow() + 60_000;

/**
 * The moment of the watering in; the minute of the start is the start. After work that went on past midnight, a time before the
 * start is one of the next day, if that has been.
 * @param {Work} work @param {string} zone
 */
function wateredAt(work, zone) {
  const [day, began] = localTime(work.started_at, zone).split('T');
  const text = seenOf(work).at ?? '';
  if (text === began) return Date.parse(work.started_at);
  const same = momentAt(`${day}T${text}`, zone);
  const next = same !== null && same < Date.parse(work.started_at) ? momentAt(`${later(day, 1)}T${text}`, zone) : null;
  return been(next) ? next : same;
}

/**
 * The moment at which a notice was given: of those at which a clock showed this and that have been, the one next to the work. It
 * may lie before the start, and on the other side of midnight.
 * @param {Notice} notice @param {Work} work @param {string} zone
 */
function noticeAt(notice, work, zone) {
  if (!/^\d\d:\d\d$/.test(notice.at)) return null;
  const [from, to] = [Date.parse(work.started_at), Date.parse(work.finished_at)];
  const away = (/** @type {number} */ at) => Math.max(from - at, at - to, 0);
  const [day] = localTime(work.started_at, zone).split('T');
  const found = [-1, 0, 1].map((days) => momentAt(`${later(day, days)}T${notice.at}`, zone)).filter(been);
  return found.sort((one, other) => away(one) - away(other))[0] ?? null;
}

/** What was seen and done, as the record takes it. @param {Work} work @param {string} zone @returns {Record<string, any>} */
export function seenFacts(work, zone) {
  const { sky, wind, label, words = '', told, measured, water = '', drains = '', watered, notices = [] } = seenOf(work);
  const at = known(watered) && watered !== 'not_yet' ? wateredAt(work, zone) : null;
  const seen = {
    ...(known(measured) ? { amount_measured_by: measured } : {}),
    ...(water.trim() === '' ? {} : { kept_from_water_ft: feet(water) }),
    ...(drains.trim() === '' ? {} : { kept_from_drains_ft: feet(drains) }),
    ...(known(wind) ? { wind_from: wind } : {}),
    ...(known(sky) ? { sky } : {}),
    ...(at === null ? {} : { watered_in: { at: new Date(at).toISOString(), by: watered } }),
    ...(instructed(label) ? { label_instructions: [{ words: words.trim().replace(/\s+/g, ' '), kept: label === 'kept', passed_on: told === 'yes' }] } : {}),
    ...(label === 'none' ? { no_label_instruction: true } : {}),
    ...(notices.length === 0 ? {} : { notices: notices.map((one) => ({ kind: one.kind, at: new Date(noticeAt(one, work, zone) ?? NaN).toISOString(), to: one.to })) }),
  };
  return Object.keys(seen).length === 0 ? {} : { seen };
}

/** Feet without the noughts that a number does not begin with. @param {string} text */
const feet = (text) => number(text).replace(/^0+(?=\d)/, '');

/** Who supervised and who else was there, where somebody said so. @param {Work} work */
export function peopleOf(work) {
  const present = (seenOf(work).present ?? []).filter((one) => one !== work.supervisor);
  return { ...supervised(work.supervisor), ...(present.length === 0 ? {} : { present_ids: present }) };
}
