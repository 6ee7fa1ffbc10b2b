// @ts-check
// Every page: sound for everybody, small, usable by keyboard alone, in a narrow window and in large print.

import assert from 'node:assert/strict';

import { OPEN_PAGES, allSent, arrive, deskPages, enrol, firstAmount, largeTargets, listen, notWide, openStops, phone, signIn, sound, start, usualAmount } from '../walk.mjs';

/** @typedef {import('../walk.mjs').World} World */

/** A browser of the owner. @param {World} world @param {object} options @param {(page: any) => Promise<void>} work */
async function desk(world, options, work) {
  const browser = await world.chromium.launch({ executablePath: world.executablePath, args: ['--no-sandbox'] });
  const context = await browser.newContext({ viewport: { width: 360, height: 740 }, ...options });
  context.setDefaultTimeout(20_000);
  await work(listen(world, await context.newPage()));
  await browser.close();
}

/** @param {World} world */
export async function everyPageIsSound(world) {
  for (const colorScheme of ['light', 'dark']) {
    await desk(world, { colorScheme, bypassCSP: true, reducedMotion: 'reduce' }, async (page) => {
      for (const path of [...OPEN_PAGES, '', ...(await deskPages(world))]) {
        if (path === '') {
          await signIn(world, page);
          continue;
        }
        const bytes = await received(page, () => page.goto(world.base + path, { waitUntil: 'networkidle' }));
        assert.ok(bytes > 500 && bytes < 60_000, `${path} takes ${bytes} bytes`);
        assert.equal(await shift(page), 0, `${path} moves while it loads`);
        await sound(world, page, `${path}, ${colorScheme}`);
        if (path !== '/office/clients/new') continue;
        await page.getByRole('button', { name: 'Add the client' }).click();
        await page.getByText('Nothing is saved yet').waitFor();
        // The text stands before the style sheet is there.
        await page.waitForLoadState('load');
        await sound(world, page, `a form with faults, ${colorScheme}`);
      }
    });
  }
}

/** So many bytes come over the wire, heads and all, to a browser that has none of the page yet. @param {any} page @param {() => Promise<any>} work */
async function received(page, work) {
  const session = await page.context().newCDPSession(page);
  let bytes = 0;
  session.on('Network.loadingFinished', (/** @type {any} */ one) => (bytes += one.encodedDataLength));
  await session.send('Network.enable');
  await session.send('Network.setCacheDisabled', { cacheDisabled: true });
  await work();
  await session.detach();
  return bytes;
}

/** How far the page moved while it loaded, as the browser reckons it. @param {any} page */
const shift = (page) =>
  page.evaluate(() => new Promise((resolve) => {
    let all = 0;
    new PerformanceObserver((list) => list.getEntries().forEach((one) => (all += /** @type {any} */ (one).value))).observe({ type: 'layout-shift', buffered: true });
    setTimeout(() => resolve(all), 60);
  }));

/** The phone's pages from arrival to Save: large targets and a contrast of 7:1. @param {World} world */
export async function thePhonesPagesAreSound(world) {
  for (const colorScheme of ['light', 'dark']) {
    const context = await phone(world, `sound-${colorScheme}`, { colorScheme, bypassCSP: true });
    const page = await enrol(world, context);
    const look = async (/** @type {string} */ what) => {
      await sound(world, page, `${what}, ${colorScheme}`, true);
      await largeTargets(page, what);
    };
    await look('the day');
    await openStops(page).first().click();
    await look('the right place');
    await page.getByRole('button', { name: 'I am at this address' }).click();
    await page.getByRole('button', { name: 'Start', exact: true }).waitFor();
    assert.equal(await page.locator('[aria-pressed=true]').count(), 0, 'nothing is filled in beforehand');
    const closed = page.locator('details:not([open]) > summary');
    while ((await closed.count()) > 0) await closed.first().click();
    await page.getByText('Two passes crosswise').first().waitFor();
    await page.getByText('Read the label').first().waitFor();
    await page.getByText('A sample, made up for this demonstration').waitFor();
    await look('before the work');
    await start(page);
    await look('the work');
    await page.getByRole('button', { name: 'Finish' }).click();
    assert.equal(await page.locator('[aria-pressed=true]').count(), 0, 'what was treated is asked, never filled in');
    await look('after the work');
    await page.getByRole('button', { name: 'Part of it' }).first().click();
    assert.equal(await page.locator('input[id^="area-"]').first().inputValue(), '', 'the area is asked, never filled in');
    await look('a part of it');
    await page.getByRole('button', { name: 'All of it' }).first().click();
    assert.equal(await firstAmount(page).inputValue(), '', 'the amount is asked, never filled in');
    assert.equal(await firstAmount(page).getAttribute('inputmode'), 'decimal');
    await look('all of it');
    await firstAmount(page).fill('260');
    await page.getByRole('button', { name: 'Yes' }).click();
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByText('is not usual').waitFor();
    await look('an amount that is not usual');
    await page.getByRole('button', { name: 'Save' }).click();
    await page.getByRole('button', { name: '1 record was refused' }).click();
    await page.getByRole('heading', { name: 'Records that were refused' }).waitFor();
    await page.locator('summary').click();
    await look('a refused record');
    // Nothing but the office's word takes it off the phone.
    await page.getByRole('button', { name: 'Delete here: the office wrote it down' }).click();
    await page.getByText('Nothing is waiting to be sent').waitFor();
    await context.close();
  }
}

/** @param {World} world */
export async function narrowAndLarge(world) {
  await desk(world, { viewport: { width: 320, height: 640 } }, async (page) => {
    const large = () => page.evaluate(() => void (document.documentElement.style.fontSize = '200%'));
    for (const path of [...OPEN_PAGES, '', ...(await deskPages(world))]) {
      if (path === '') {
        await signIn(world, page);
        continue;
      }
      await page.goto(world.base + path, { waitUntil: 'networkidle' });
      await notWide(page, `${path} at 320 px`);
      await large();
      await notWide(page, `${path} at 320 px and 200 %`);
    }
  });
  const context = await phone(world, 'narrow', { viewport: { width: 320, height: 640 } });
  const page = await enrol(world, context);
  await page.evaluate(() => void (document.documentElement.style.fontSize = '200%'));
  await notWide(page, 'the day');
  await arrive(page, openStops(page).first());
  await notWide(page, 'before the work');
  await start(page);
  await page.getByRole('button', { name: 'Finish' }).click();
  await notWide(page, 'after the work');
  await page.getByRole('button', { name: 'Part of it' }).first().click();
  await notWide(page, 'a part of it');
  await page.getByRole('button', { name: 'All of it' }).first().click();
  await firstAmount(page).fill('260');
  await page.getByRole('button', { name: 'Yes' }).click();
  for (let press = 0; press < 2; press += 1) await page.getByRole('button', { name: 'Save' }).click();
  await page.getByRole('button', { name: '1 record was refused' }).click();
  await page.getByRole('heading', { name: 'Records that were refused' }).waitFor();
  await page.locator('summary').click();
  await notWide(page, 'a refused record');
  await context.close();
}

/** Goes with the tabulator to what bears these words, and presses it. @param {any} page @param {RegExp} words @param {string} [key] */
async function press(page, words, key = 'Enter') {
  for (let step = 0; step < 80; step += 1) {
    await page.keyboard.press('Tab');
    const name = await page.evaluate(() => document.activeElement?.textContent ?? '');
    if (words.test(name)) return page.keyboard.press(key);
  }
  return assert.fail(`the keyboard does not reach ${words}`);
}

/** A stop, and the way from the year to a record and its decision, without a pointer. @param {World} world */
export async function byKeyboardAlone(world) {
  const context = await phone(world, 'keys');
  const page = await enrol(world, context);
  const heading = (/** @type {string | RegExp} */ name) => page.getByRole('heading', { name }).waitFor();
  const first = await openStops(page).first().locator('strong').textContent();
  await press(page, new RegExp(`^${first.replace('.', '\\.')}`));
  await page.getByText('Read the number on the house').waitFor();
  await press(page, /^I am at this address/);
  await heading('Before you fill');
  await press(page, /^Moist/);
  await press(page, /^Rotary spreader with deflector/, ' ');
  await page.getByText('Moist ground, rotary spreader with deflector.').waitFor();
  await press(page, /^Start/);
  await page.getByRole('button', { name: 'Finish' }).waitFor();
  await press(page, /^Finish/);
  await page.getByRole('button', { name: 'All of it' }).first().waitFor();
  await press(page, /^All of it/);
  await firstAmount(page).waitFor();
  assert.ok(await page.evaluate(() => document.activeElement?.id.startsWith('used-')), 'the number is asked next');
  await page.keyboard.type(await usualAmount(page));
  await press(page, /^Yes/);
  await page.getByRole('button', { name: '✓ Yes' }).waitFor();
  await press(page, /^Save/);
  await heading(/September 15/);
  await allSent(page);
  await context.close();
  await desk(world, { viewport: { width: 1200, height: 800 } }, async (seat) => {
    await seat.goto(`${world.base}/sign-in?to=/year`);
    await seat.keyboard.press('Tab');
    while (!(await seat.evaluate(() => document.activeElement?.id === 'name'))) await seat.keyboard.press('Tab');
    await seat.keyboard.type('owner');
    await seat.keyboard.press('Tab');
    await seat.keyboard.type(world.book.password);
    await seat.keyboard.press('Enter');
    await seat.waitForURL(`${world.base}/year`);
    // Two steps from the year to a record with its decision.
    await press(seat, /^Client 001$/);
    await seat.getByRole('heading', { name: /Nitrogen statement/ }).waitFor();
    await press(seat, /^2026-/);
    await seat.getByRole('heading', { name: 'The decision when it was saved' }).waitFor();
  });
}

/** The office makes a code, and its picture leads a phone to the day. @param {World} world */
export async function aPictureEnrols(world) {
  await desk(world, { viewport: { width: 1200, height: 800 } }, async (page) => {
    await signIn(world, page, '/office/people');
    await page.getByRole('link', { name: /Connect a phone for Tech/ }).first().click();
    await page.getByRole('button', { name: 'Make a code' }).click();
    await page.locator('#enrol-picture').waitFor();
    await page.waitForFunction(() => /** @type {any} */ (document.getElementById('enrol-picture')).naturalWidth > 200);
    const link = await page.locator('#enrol-link').textContent();
    const code = await page.locator('#enrol-code').textContent();
    assert.equal(link, `${world.base}/phone#${code}`);
    const context = await phone(world, 'picture');
    const taken = listen(world, await context.newPage());
    await taken.goto(link);
    await taken.getByRole('button', { name: 'Connect' }).click();
    await taken.getByRole('heading', { name: /September 15/ }).waitFor();
    const session = await context.newCDPSession(taken);
    const { installabilityErrors } = await session.send('Page.getInstallabilityErrors');
    // A private window is no fault of the page's.
    assert.deepEqual(installabilityErrors.filter((/** @type {any} */ one) => one.errorId !== 'in-incognito'), []);
    await context.close();
  });
}

/** A caller is found from any page, while the name is typed, with Enter, and where no script runs. @param {World} world */
export async function aCallerIsFound(world) {
  const field = (/** @type {any} */ page) => page.getByRole('searchbox', { name: /Find a client/ });
  await desk(world, { viewport: { width: 1280, height: 800 } }, async (page) => {
    await signIn(world, page, '/rules');
    const found = page.locator('.found');
    await field(page).pressSequentially('client 00', { delay: 30 });
    await found.getByRole('link', { name: 'Client 001', exact: true }).waitFor();
    assert.equal(await page.getByRole('status').textContent().then((/** @type {string} */ words) => /^\d+ found/.test(words)), true);
    await page.keyboard.press('Escape');
    assert.equal(await found.isVisible(), false);
    await page.keyboard.press('Enter');
    await page.waitForURL(/\/office\/find\?q=client/);
    assert.equal(await field(page).inputValue(), 'client 00');
    // What is typed last is shown, however the answers come.
    await page.route('**/office/find?q=client%20001', async (route) => {
      await new Promise((resolve) => setTimeout(resolve, 700));
      await route.continue();
    });
    await field(page).fill('client 001');
    await page.waitForTimeout(300);
    await field(page).fill('client 002');
    await found.getByRole('link', { name: 'Client 002', exact: true }).waitFor();
    await page.waitForTimeout(900);
    assert.equal(await found.getByRole('link', { name: 'Client 001', exact: true }).count(), 0);
  });
  await desk(world, { javaScriptEnabled: false }, async (page) => {
    await signIn(world, page, '/office');
    await field(page).fill('client 003');
    await page.getByRole('button', { name: 'Find' }).click();
    await page.getByRole('heading', { name: /Found for/ }).waitFor();
    await page.getByRole('link', { name: 'Client 003', exact: true }).click();
    await page.getByRole('heading', { name: 'Client 003' }).waitFor();
  });
}

/** @param {World} world */
export async function theStatementPrints(world) {
  await desk(world, { viewport: { width: 1200, height: 800 }, colorScheme: 'dark' }, async (page) => {
    const statement = (await deskPages(world)).find((path) => path.startsWith('/year/'));
    await signIn(world, page);
    await page.goto(world.base + statement);
    await page.emulateMedia({ media: 'print' });
    assert.equal(await page.locator('nav').isVisible(), false);
    assert.equal(await page.getByRole('button', { name: 'Print' }).isVisible(), false);
    assert.equal(await page.locator('footer').isVisible(), true, 'the cautions are printed');
    const ink = await page.evaluate(() => [getComputedStyle(document.body).color, getComputedStyle(document.body).backgroundColor]);
    assert.deepEqual(ink, ['rgb(0, 0, 0)', 'rgb(255, 255, 255)'], 'dark surroundings do not reach the paper');
    assert.ok((await page.pdf({ format: 'Letter' })).length > 5000);
  });
}
