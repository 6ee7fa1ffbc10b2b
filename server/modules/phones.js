// @ts-check
// The desk's page for enrolling a phone: makes a code, and shows it with its picture, once.

import { call } from './api.js';

const element = (/** @type {string} */ id) => /** @type {HTMLElement} */ (document.getElementById(id));
const made = element('enrol-made');
const fault = element('enrol-fault');

/** @param {HTMLButtonElement} button */
async function enrol(button) {
  made.hidden = true;
  fault.textContent = '';
  const answer = await call('POST', `/api/v1/people/${button.dataset.enrol}/enrolment-codes`);
  if (answer.status !== 201) return void (fault.textContent = answer.problem?.detail ?? 'The server does not answer. Try again.');
  const drawn = await draw(answer.body.code);
  element('enrol-drawn').hidden = drawn === null;
  if (drawn !== null) {
    /** @type {HTMLImageElement} */ (element('enrol-picture')).src = `data:image/svg+xml,${encodeURIComponent(drawn.picture)}`;
    element('enrol-link').textContent = drawn.link;
  }
  element('enrol-for').textContent = (button.textContent ?? '').replace('Make a code', 'Code');
  element('enrol-code').textContent = answer.body.code;
  element('enrol-until').textContent = `It ends at ${new Date(answer.body.expires_at).toLocaleTimeString([], { hour: '2-digit', minute: '2-digit' })}.`;
  made.hidden = false;
  made.scrollIntoView({ block: 'nearest' });
}

/** The code as a link and a picture, or nothing: it can always be typed. @param {string} code @returns {Promise<{ link: string, picture: string } | null>} */
async function draw(code) {
  try {
    const reply = await fetch('/phones/picture', { method: 'POST', body: code, headers: { 'content-type': 'text/plain' } });
    return reply.ok ? await reply.json() : null;
  } catch {
    return null;
  }
}

for (const button of /** @type {NodeListOf<HTMLButtonElement>} */ (document.querySelectorAll('button[data-enrol]'))) {
  button.addEventListener('click', () => void enrol(button));
}
