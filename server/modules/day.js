// @ts-check
// The technician's day as it is kept on the phone: who I am, the visits, and for each the answer to "how much, and may I?".

import { call } from './api.js';
import { keepFiles, listFiles } from './files.js';
import { goneFrom } from './gone.js';
import { groundsOf } from './parts.js';
import { downloaded } from './shelf.js';
import { hear } from './time.js';
import { begunBy, keepDay, sentBy } from './work.js';

/** @typedef {{ verdict: string, summary: string, findings: import('./api.js').Finding[], sections: any[] }} Decision */
/** @typedef {{ me: any, day: any, decisions: Record<string, Decision | null>, at: number, equipment?: string, assumed?: Record<string, string>, dates?: string, machines?: Record<string, string>, files?: Record<string, import('./files.js').ProductFile[]>, gone?: import('./gone.js').Gone[] }} Day */

/** The local day of the phone. @returns {string} */
export function today() {
  const now = new Date();
  const two = (/** @type {number} */ part) => String(part).padStart(2, '0');
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

/** A day as the company writes it. @param {string} day year first @param {string | undefined} order */
export function writtenDay(day, order) {
  const [year, month, date] = day.split('-');
  return order === 'month_day_year' ? `${month}/${date}/${year}` : day;
}

/** What was kept of today, or of an earlier day. @returns {Promise<Day | undefined>} */
export const keptDay = () => downloaded('day');

/** A part of a download that did not come. */
class Unfinished extends Error {}

/**
 * What a request of a download brings; a download of which a part is missing is none.
 * @param {string} method @param {string} path @param {(body: any) => boolean} whole @param {any} [body]
 */
async function part(method, path, whole, body) {
  const answer = await call(method, path, body);
  if (answer.status !== 200 || !whole(answer.body)) throw new Unfinished(path);
  return answer.body;
}

/**
 * Downloads the day, and keeps it whole or not at all: half of a day would look like all of it. Answers how it went.
 * @returns {Promise<'fresh' | 'offline' | 'unfinished' | 'signed_out'>}
 */
export async function downloadDay() {
  const asked = performance.now();
  const me = await call('GET', '/api/v1/me');
  if (me.status === 401) return 'signed_out';
  if (me.status !== 200 || typeof me.body?.person?.id !== 'string') return 'offline';
  hear(me.body.now, asked);
  try {
    const known = await sentBy(me.body.person.id);
    const day = await wholeDay(me.body);
    await keepDay(day, known);
    void keepFiles(day.files ?? {});
    return 'fresh';
  } catch (fault) {
    if (fault instanceof Unfinished) return 'unfinished';
    throw fault;
  }
}

/**
 * Asks whether the day has changed since it was downloaded, and downloads it again if it has: that is much less to ask.
 * @returns {Promise<'same' | Awaited<ReturnType<typeof downloadDay>>>}
 */
export async function lookAgain() {
  const kept = await keptDay();
  if (!kept) return 'same';
  const asked = performance.now();
  const me = await call('GET', '/api/v1/me');
  if (me.status !== 200 || typeof me.body?.person?.id !== 'string') return 'same';
  hear(me.body.now, asked);
  const on = await serverDay(me.body);
  const day = await call('GET', `/api/v1/days/${on}`);
  if (day.status !== 200 || !Array.isArray(day.body?.visits)) return 'same';
  const stands = (/** @type {any} */ one) => JSON.stringify([one.day, one.person_id, one.visits]);
  return stands(day.body) === stands(kept.day) ? 'same' : downloadDay();
}

/** @param {any} me @returns {Promise<Day>} */
async function wholeDay(me) {
  // The server's clock decides which day it is: a phone's may be wrong.
  const on = (await serverDay(me)) ?? today();
  const day = await part('GET', `/api/v1/days/${on}`, (body) => body?.day === on && Array.isArray(body.visits));
  /** @type {Record<string, Decision | null>} */
  const decisions = {};
  const settings = await part('GET', '/api/v1/settings', (body) => typeof body?.date_order === 'string');
  const machines = await part('GET', '/api/v1/equipment?limit=200', (body) => Array.isArray(body?.items));
  /** @type {Record<string, string>} */
  const assumed = {};
  const last = await downloaded('equipment');
  for (const { visit, ...stop } of day.visits) assumed[visit.id] = spreaderFor(stop, machines.items, last);
  for (const stop of day.visits) decisions[stop.visit.id] = await ask(stop, on, assumed[stop.visit.id]);
  const named = machines.items.map((/** @type {any} */ one) => [one.id, one.name]);
  const gone = await goneFrom(day, await keptDay(), await begunBy(me.person.id));
  if (gone === null) throw new Unfinished('/api/v1/visits');
  const files = await listFiles(day.visits.map((/** @type {any} */ stop) => stop.product.id), part);
  return { me, day, decisions, at: Date.parse(me.now), assumed, dates: settings.date_order, machines: Object.fromEntries(named), files, gone };
}

/**
 * The spreader that an answer is asked for; who takes another is told that the answer was for this one. The machine that was
 * calibrated last with the product tells it, or else what this technician worked with last.
 * @param {any} stop @param {any[]} machines @param {string | undefined} last
 */
function spreaderFor(stop, machines, last) {
  const as = (/** @type {any} */ machine) => (machine?.kind === 'drop_spreader' ? 'drop_spreader' : machine?.kind === 'rotary_spreader' ? (machine.has_deflector ? 'rotary_spreader_with_deflector' : 'rotary_spreader') : undefined);
  const newest = [...(stop.calibrations ?? [])].sort((one, other) => other.calibration.calibrated_on.localeCompare(one.calibration.calibrated_on));
  const calibrated = newest.map((one) => as(machines.find((machine) => machine.id === one.calibration.equipment_id))).find((found) => found !== undefined);
  const rotary = machines.filter((machine) => machine.active && machine.kind === 'rotary_spreader');
  const all = rotary.length > 0 && rotary.every((machine) => machine.has_deflector) ? 'rotary_spreader_with_deflector' : 'rotary_spreader';
  return calibrated ?? last ?? all;
}

/** The day it is in the company's zone by the server's clock. @param {any} me */
async function serverDay(me) {
  const parts = new Intl.DateTimeFormat('en-CA', { timeZone: me.time_zone, year: 'numeric', month: '2-digit', day: '2-digit' });
  return parts.format(new Date(me.now));
}

/**
 * Asks how much of the planned product may go on each section. Nothing is known yet of ground and air, so the answer is
 * at best "care"; amounts and caps are known.
 * @param {any} stop @param {string} on @param {string} equipment
 * @returns {Promise<Decision | null>}
 */
async function ask(stop, on, equipment) {
  if (!hasAmount(stop)) return null;
  const answer = await call('POST', '/api/v1/checks', plan(stop, on, { equipment }, groundsOf(stop, [])));
  if (answer.status === 200 && answer.body?.decision) return answer.body.decision;
  // What the server cannot judge, such as a section that was never measured, has no amount; that is an answer.
  if (answer.status === 404 || answer.status === 422) return null;
  throw new Unfinished('/api/v1/checks');
}

/** Who supervises, as a check and a record take it: somebody, nobody, or nothing that was said. @param {string} [who] a person, `nobody`, or `unknown` */
export const supervised = (who = '') => (who === '' || who === 'unknown' ? {} : who === 'nobody' ? { nobody_supervised: true } : { supervisor_id: who });

/** Whether the plan says how much goes down. @param {any} stop */
export const hasAmount = ({ visit }) => visit.target_nitrogen_lb_per_1000_sqft !== null || visit.target_product_lb_per_1000_sqft !== undefined;

/**
 * The question about a stop, with what a person has seen. Of a section whose other parts are recorded, it is about the parts that
 * are left: they are other ground.
 * @param {any} stop @param {string} on @param {Record<string, any>} seen @param {import('./parts.js').Ground[]} grounds
 */
export function plan(stop, on, seen, grounds) {
  const { target_nitrogen_lb_per_1000_sqft: target, target_product_lb_per_1000_sqft: rate } = stop.visit;
  // Down to the thousandth of a pound, so that what is asked about is not more than what is planned; first to the sixth decimal,
  // because 4.6 times 5,500 is a little less than 25,300 in binary.
  const pounds = (/** @type {number} */ area) => (Math.floor(Number((Number(rate) * area).toFixed(6))) / 1000).toFixed(3);
  const lines = stop.visit.section_ids.map((/** @type {string} */ id) => {
    const ground = grounds.find((one) => one.section.id === id);
    const rest = ground?.rest ?? null;
    const area = (rest === null ? ground?.area : ground?.open) ?? 0;
    return { section_id: id, ...(rest === null ? {} : { parts: rest }), ...(rate === undefined ? { target_nitrogen_lb_per_1000_sqft: target } : { product_lb: pounds(area) }) };
  });
  return {
    property_id: stop.property.id,
    product_id: stop.product.id,
    planned_on: on,
    purpose: stop.visit.purpose,
    equipment: seen.equipment ?? 'rotary_spreader',
    ...(seen.ground ? { ground: seen.ground } : {}),
    ...supervised(seen.supervisor),
    weather: seen.weather ?? {},
    lines,
  };
}
