// @ts-check
// Talks to this server. Every answer is either what was asked for or a problem document with all its faults.

/** @typedef {{ pointer?: string, parameter?: string, detail: string }} Fault */
/** @typedef {{ key: string, verdict: string, message: string, hint: string, citation: string, href: string | null }} Finding */
/** @typedef {{ title: string, detail: string, status: number, code: string, errors?: Fault[], findings?: Finding[] }} Problem */
/** @typedef {{ status: number, body: any, problem: Problem | null, wait: number | null, foreign: boolean, receipt?: string | null }} Answer with the receipt that it carries, if it does */

/** Longest wait for an answer, in milliseconds: a phone at the edge of a cell gets no answer at all. */
const PATIENCE = 15000;

/**
 * Sends a request. Without an answer of this server the status is 0: no network, none in time, or somebody in between who
 * answers, which `foreign` tells.
 * @param {string} method
 * @param {string} path
 * @param {any} [body]
 * @param {Record<string, string>} [headers]
 * @returns {Promise<Answer>}
 */
export async function call(method, path, body, headers = {}) {
  /** @type {RequestInit} */
  const request = { method, headers: { ...headers }, credentials: 'same-origin', signal: AbortSignal.timeout(PATIENCE) };
  if (body !== undefined) {
    request.body = JSON.stringify(body);
    /** @type {Record<string, string>} */ (request.headers)['content-type'] = 'application/json';
  }
  try {
    const reply = await fetch(path, request);
    const read = json(await reply.text());
    const given = Number(reply.headers.get('retry-after'));
    const wait = Number.isFinite(given) && given > 0 ? given : null;
    // This server answers in JSON, and what it refuses with a problem document that has a code.
    if (read === undefined || (!reply.ok && typeof read?.code !== 'string')) return { status: 0, body: null, problem: null, wait, foreign: true };
    return { status: reply.status, body: read, problem: reply.ok ? null : read, wait, foreign: false, receipt: reply.headers.get('receipt') };
  } catch {
    return { status: 0, body: null, problem: null, wait: null, foreign: false };
  }
}

/** What a text holds, null when it is empty, and undefined when it is no JSON. @param {string} text */
function json(text) {
  try {
    return text === '' ? null : JSON.parse(text);
  } catch {
    return undefined;
  }
}

/**
 * A new id as the server takes it: UUID version 7, so that ids follow time.
 * @returns {string}
 */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let time = Date.now();
  for (let at = 5; at >= 0; at -= 1) {
    bytes[at] = time % 256;
    time = Math.floor(time / 256);
  }
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, '0')).join('');
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}
