// @ts-check
// A demonstration server to look at, and its people by the API.

import { spawn } from 'node:child_process';
import { randomUUID } from 'node:crypto';

/**
 * Starts a demonstration and waits until it serves.
 * @param {string} server path of the binary
 * @param {number} port
 */
export async function demonstration(server, port) {
  const process = spawn(server, ['demo', '--small', '--listen', `127.0.0.1:${port}`], { stdio: ['ignore', 'pipe', 'inherit'] });
  let told = '';
  const password = await new Promise((resolve, reject) => {
    process.stdout.on('data', (data) => {
      told += data;
      const found = /with the password (\S+)/.exec(told);
      if (found && told.includes('Authorization: Bearer')) resolve(found[1]);
    });
    process.on('exit', (code) => reject(new Error(`the demonstration ended with ${code}:\n${told}`)));
  });
  const base = `http://127.0.0.1:${port}`;
  const office = await signIn(base, 'office', password);
  return { base, password, office, owner: await signIn(base, 'owner', password), stop: () => void process.kill('SIGTERM') };
}

/** @param {string} base @param {string} name @param {string} password */
async function signIn(base, name, password) {
  const reply = await fetch(`${base}/api/v1/sessions`, { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify({ name, password }) });
  const { token } = await reply.json();
  /** @param {string} method @param {string} path @param {any} [body] @param {number} [expected] @param {Record<string, string>} [more] heads */
  return async (method, path, body, expected, more = {}) => {
    // Bytes are a file, everything else is JSON.
    const file = body instanceof Uint8Array;
    const headers = { authorization: `Bearer ${token}`, ...(body === undefined ? {} : { 'content-type': file ? 'application/pdf' : 'application/json' }), ...more };
    const answer = await fetch(base + path, { method, headers, body: file ? new Blob([body]) : body && JSON.stringify(body) });
    const text = await answer.text();
    if (expected !== undefined && answer.status !== expected) throw new Error(`${method} ${path} answered ${answer.status}: ${text}`);
    return text === '' ? null : JSON.parse(text);
  };
}

/** A code to enrol a phone of the first technician with. @param {any} office */
export async function enrolmentCode(office) {
  const people = await office('GET', '/api/v1/people', undefined, 200);
  const technician = people.items.find((/** @type {any} */ person) => person.role === 'technician');
  const made = await office('POST', `/api/v1/people/${technician.id}/enrolment-codes`, {}, 201);
  return { code: made.code, technician: technician.id };
}

/** Plans so many small visits for a technician on the demonstration's day. @param {any} office @param {string} technician @param {number} count @param {string} [target] nitrogen per 1,000 sq ft */
export async function planVisits(office, technician, count, target = '0.05') {
  const year = await office('GET', '/api/v1/statements/company?year=2026', undefined, 200);
  const roomy = new Set(year.sections.filter((/** @type {any} */ one) => Number(one.remaining_nitrogen_lb_per_1000_sqft) > 0.5).map((/** @type {any} */ one) => one.section_id));
  const sections = (await office('GET', '/api/v1/sections?limit=200', undefined, 200)).items.filter((/** @type {any} */ one) => roomy.has(one.id));
  const product = (await office('GET', '/api/v1/products', undefined, 200)).items.find((/** @type {any} */ one) => one.name.startsWith('Feed 24'));
  for (let number = 0; number < count; number += 1) {
    const section = sections[number % sections.length];
    const visit = { property_id: section.property_id, person_id: technician, planned_on: '2026-09-15', product_id: product.id, section_ids: [section.id], purpose: 'maintenance', target_nitrogen_lb_per_1000_sqft: target };
    // Two visits to one section on one day are meant: the key says so.
    await office('POST', '/api/v1/visits', visit, 201, { 'idempotency-key': randomUUID() });
  }
}

/** Ids of all applications in the book. @param {any} owner */
export async function applications(owner) {
  const ids = [];
  let cursor = '';
  do {
    const page = await owner('GET', `/api/v1/applications?limit=200${cursor === '' ? '' : `&cursor=${cursor}`}`, undefined, 200);
    ids.push(...page.items.map((/** @type {any} */ one) => one.id));
    cursor = page.next_cursor ?? '';
  } while (cursor !== '');
  return ids;
}
