// @ts-check
// The server's machine was lost, and an older copy was put in the place of its records: the phone brings back what it had sent.

import assert from 'node:assert/strict';

import { added, allSent, enrol, listen, openStops, phone, recordStop, signOut } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

const SENDING = '**/api/v1/applications/*';
const STANDING = '**/api/v1/receipt/standing*';

/** How many sent records the phone keeps. @param {any} page */
const kept = (page) =>
  page.evaluate(
    () =>
      new Promise((resolve, reject) => {
        const request = indexedDB.open('swardbook', 1);
        request.onerror = () => reject(request.error);
        request.onsuccess = () => {
          const keys = request.result.transaction('downloaded').objectStore('downloaded').getAllKeys();
          keys.onsuccess = () => resolve(keys.result.filter((key) => String(key).startsWith('kept/')).length);
          request.result.close();
        };
      }),
  );

/** @param {any} page @param {number} count */
async function keeps(page, count) {
  for (const end = Date.now() + 10_000; (await kept(page)) !== count; ) {
    assert.ok(Date.now() < end, `${await kept(page)} records are kept, not ${count}`);
    await page.waitForTimeout(50);
  }
}

/**
 * A record is answered as by a server that has it, and is in no book: that server was lost right after. Its receipt is of an entry that
 * the records which are there do not have.
 * @param {World} world
 */
export async function anOlderCopyIsPutBack(world) {
  const context = await phone(world, 'lost-machine');
  let page = await enrol(world, context);
  const known = (await added(world)).length;
  const { text, signature } = await world.book.owner('GET', '/api/v1/receipt', undefined, 200);
  const later = text.replace(/^Entry: (\d+)$/m, (/** @type {string} */ _, /** @type {string} */ entry) => `Entry: ${Number(entry) + 5}`).replace(/^Head: .*$/m, `Head: ${'5'.repeat(64)}`);
  const receipt = Buffer.from(`${later}Signature: ${signature}\n`).toString('base64');
  let lost = 2;
  await context.route(SENDING, (/** @type {any} */ route) => {
    if (lost === 0 || route.request().method() !== 'PUT') return route.continue();
    lost -= 1;
    const id = new URL(route.request().url()).pathname.split('/').pop();
    return route.fulfill({ status: 201, headers: { receipt }, contentType: 'application/json', body: JSON.stringify({ id }) });
  });
  await context.route(STANDING, (/** @type {any} */ route) => route.abort());
  for (const done of [1, 2]) {
    await recordStop(page, openStops(page).first());
    await allSent(page);
    await keeps(page, done);
  }
  assert.equal((await added(world)).length, known, 'the phone was told, and no book has them');
  // As long as nobody answers what became of the receipt, nothing is forgotten and nothing is sent twice.
  await page.reload();
  await allSent(page);
  await keeps(page, 2);
  // The records that were put back are there. Two tabs ask at once; nobody is asked anything.
  await context.unroute(STANDING);
  const second = listen(world, await context.newPage());
  await Promise.all([page.reload(), second.goto(`${world.base}/phone`)]);
  for (const end = Date.now() + 15_000; (await added(world)).length !== known + 2; ) {
    assert.ok(Date.now() < end, `${(await added(world)).length - known} of 2 came back`);
    await page.waitForTimeout(100);
  }
  await allSent(page);
  await second.close();
  // They are in no copy yet, so they stay on the phone; the server says that their receipts stand, and they are not sent again.
  await keeps(page, 2);
  let sent = 0;
  page.on('request', (/** @type {any} */ request) => (sent += request.method() === 'PUT' && request.url().includes('/applications/') ? 1 : 0));
  await page.reload();
  await allSent(page);
  await keeps(page, 2);
  // A copy holds them.
  await context.route(STANDING, (/** @type {any} */ route) => route.fulfill({ json: { stands: true, copied_to: 9_000_000 } }));
  await page.reload();
  await keeps(page, 0);
  assert.equal(sent, 0, 'nothing was sent again');
  assert.equal((await added(world)).length, known + 2);
  await context.close();
}

/** Whoever erases what is on the phone erases these too, and nobody else's. @param {World} world */
export async function whatIsKeptIsErased(world) {
  const context = await phone(world, 'kept');
  const page = await enrol(world, context);
  await recordStop(page, openStops(page).first());
  await allSent(page);
  await keeps(page, 1);
  await signOut(page);
  await page.getByRole('heading', { name: 'Connect this phone' }).waitFor();
  await keeps(page, 0);
  await context.close();
}
