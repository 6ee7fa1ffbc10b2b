// @ts-check
// Stops that were on this phone's list and are not any more: cancelled, closed, moved, or given to somebody else. They are not
// dropped without a word, because somebody may be on the way, or at work there.

import { call } from './api.js';

/** @typedef {{ stop: any, decision: any, fate: string }} Gone */
/** @typedef {import('./day.js').Day} Day */

/**
 * What became of the stops that this phone knew and the day does not name.
 * @param {any} day as it was answered @param {Day | undefined} before @param {import('./work.js').Work[]} begun
 * @returns {Promise<Gone[] | null>} null when the server did not say
 */
export async function goneFrom(day, before, begun) {
  /** @type {Map<string, { stop: any, decision: any }>} */
  const known = new Map();
  if (before && before.day.day === day.day && before.day.person_id === day.person_id) {
    for (const stop of before.day.visits) known.set(stop.visit.id, { stop, decision: before.decisions[stop.visit.id] });
    for (const { stop, decision } of before.gone ?? []) known.set(stop.visit.id, { stop, decision });
  }
  // Begun work stays in sight, of whatever day its visit is now.
  for (const { visit, stop, decision } of begun) if (stop) known.set(visit, { stop, decision });
  for (const stop of day.visits) known.delete(stop.visit.id);
  /** @type {Gone[]} */
  const gone = [];
  for (const [id, one] of known) {
    const answer = await call('GET', `/api/v1/visits/${id}`);
    if (answer.status !== 404 && (answer.status !== 200 || answer.body?.id !== id)) return null;
    gone.push({ ...one, fate: answer.status === 404 ? 'It was given to somebody else.' : fateOf(answer.body, day.day) });
  }
  return gone;
}

/** @param {any} visit @param {string} today */
function fateOf(visit, today) {
  const why = visit.reason ? `: ${visit.reason.replace(/\.$/, '')}` : '';
  if (visit.status === 'cancelled') return `It was cancelled${why}.`;
  if (visit.status === 'not_done') return `The office closed it as not done${why}.`;
  const on = new Date(`${visit.planned_on}T12:00:00Z`).toLocaleDateString('en-US', { weekday: 'long', month: 'long', day: 'numeric', timeZone: 'UTC' });
  return visit.planned_on === today ? 'It is not on your list any more.' : `It is planned for ${on}${visit.planned_on > today ? ' now' : ''}.`;
}

/** What that means for whoever is there. @param {string} fate @param {boolean} begun */
export const goneWords = (fate, begun) =>
  begun ? `■ ${fate} Stop here and ask the office. What you have put down may still be recorded: finish, and save it.` : `■ ${fate} Do not start. Ask the office.`;
