// @ts-check
// Signs the office or the owner in, and goes where they wanted to go.

import { call } from './api.js';

const form = /** @type {HTMLFormElement} */ (document.getElementById('sign-in'));
const fault = /** @type {HTMLElement} */ (document.getElementById('fault'));

form.addEventListener('submit', async (event) => {
  event.preventDefault();
  const data = new FormData(form);
  const answer = await call('POST', '/api/v1/sessions', { name: data.get('name'), password: data.get('password'), in_browser: true });
  if (answer.status === 201) {
    // Only an address of this server: one that came from elsewhere could lead anywhere.
    const wanted = new URLSearchParams(location.search).get('to') ?? '/';
    location.assign(wanted.startsWith('/') && !wanted.startsWith('//') ? wanted : '/');
    return;
  }
  fault.textContent = answer.problem?.detail ?? 'The server does not answer. Try again.';
});
