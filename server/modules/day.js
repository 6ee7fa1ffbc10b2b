// @ts-check
// The technician's day as it is kept on the phone: who I am, the visits, and for each the answer to "how much, and may I?".

import { call } from './api.js';
import { keepFiles, listFiles } from './files.js';
import { download, downloaded } from './shelf.js';

/** @typedef {{ verdict: string, summary: string, findings: import('./api.js').Finding[], sections: any[] }} Decision */
/** @typedef {{ me: any, day: any, decisions: Record<string, Decision | null>, at: number, skew: number, equipment?: string, dates?: string, machines?: Record<string, string>, files?: Record<string, import('./files.js').ProductFile[]> }} Day */

/** The local day of the phone. @returns {string} */
export function today() {
  const now = new Date();
  const two = (/** @type {number} */ part) => String(part).padStart(2, '0');
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

/**
 * The time now by the server's clock, as far as the phone knows it: a phone's own clock may stand wrong.
 * @param {{ skew: number }} day
 */
export const now = (day) => new Date(Date.now() + day.skew).toISOString();

/** A day as the company writes it. @param {string} day year first @param {string | undefined} order */
export function writtenDay(day, order) {
  const [year, month, date] = day.split('-');
  return order === 'month_day_year' ? `${month}/${date}/${year}` : day;
}

/** What was kept of today, or of an earlier day. @returns {Promise<Day | undefined>} */
export const keptDay = () => downloaded('day');

/**
 * Downloads the day whole, and keeps it. Answers how it went.
 * @returns {Promise<'fresh' | 'offline' | 'signed_out'>}
 */
export async function downloadDay() {
  const me = await call('GET', '/api/v1/me');
  if (me.status === 401) return 'signed_out';
  if (me.status !== 200) return 'offline';
  const asked = Date.now();
  // The server's clock decides which day it is: a phone's may be wrong.
  const on = (await serverDay(me.body)) ?? today();
  const day = await call('GET', `/api/v1/days/${on}`);
  if (day.status !== 200) return 'offline';
  /** @type {Record<string, Decision | null>} */
  const decisions = {};
  // Asked for what this technician worked with last; who takes another spreader is told that the answer was for this one.
  const equipment = (await downloaded('equipment')) ?? 'rotary_spreader';
  for (const stop of day.body.visits) decisions[stop.visit.id] = await ask(stop, on, equipment);
  const settings = await call('GET', '/api/v1/settings');
  const machines = await call('GET', '/api/v1/equipment?limit=200');
  const named = (machines.body?.items ?? []).map((/** @type {any} */ one) => [one.id, one.name]);
  const files = await listFiles(day.body.visits.map((/** @type {any} */ stop) => stop.product.id));
  const at = Date.parse(me.body.now);
  await download('day', { me: me.body, day: day.body, decisions, at, skew: at - asked, equipment, dates: settings.body?.date_order, machines: Object.fromEntries(named), files });
  void keepFiles(files);
  return 'fresh';
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
  const target = stop.visit.target_nitrogen_lb_per_1000_sqft;
  if (target === null) return null;
  const answer = await call('POST', '/api/v1/checks', plan(stop, on, { equipment }));
  return answer.status === 200 ? answer.body.decision : null;
}

/**
 * The question about a stop, with what a person has seen.
 * @param {any} stop @param {string} on @param {Record<string, any>} seen
 */
export function plan(stop, on, seen) {
  const target = stop.visit.target_nitrogen_lb_per_1000_sqft;
  const lines = stop.visit.section_ids.map((/** @type {string} */ id) => ({ section_id: id, target_nitrogen_lb_per_1000_sqft: target }));
  return {
    property_id: stop.property.id,
    product_id: stop.product.id,
    planned_on: on,
    purpose: stop.visit.purpose,
    equipment: seen.equipment ?? 'rotary_spreader',
    ...(seen.ground ? { ground: seen.ground } : {}),
    weather: seen.weather ?? {},
    lines,
  };
}
