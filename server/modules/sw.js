// @ts-check
// Keeps the phone's page on the phone, so that it opens without a network. It never touches records: they are the page's.

/// <reference lib="webworker" />

const VERSION = 'VERSION';
const SHELL = ['/phone', '/phone.css', '/phone.webmanifest', '/icon.svg', '/icon-full.svg', ...['air', 'answer', 'api', 'day', 'dom', 'fields', 'files', 'gone', 'ground', 'kept', 'leaving', 'parts', 'phone', 'queue', 'receipt', 'refused', 'seen', 'shelf', 'stop', 'time', 'used', 'weather', 'work'].map((name) => `/modules/${name}.js`)];
/** Labels and safety data sheets that the page keeps. They outlive a version: they never change. */
const FILES = 'files';
const FILE = /^\/api\/v1\/product-files\/[^/]+\/content$/;
const worker = /** @type {ServiceWorkerGlobalScope} */ (/** @type {unknown} */ (self));

worker.addEventListener('install', (event) => {
  const whole = async () => {
    const cache = await caches.open(VERSION);
    await cache.addAll(SHELL.map((path) => new Request(path, { cache: 'reload' })));
    await worker.skipWaiting();
  };
  event.waitUntil(whole());
});

worker.addEventListener('activate', (event) => {
  const tidy = async () => {
    for (const name of await caches.keys()) if (name !== VERSION && name !== FILES) await caches.delete(name);
    await worker.clients.claim();
  };
  event.waitUntil(tidy());
});

worker.addEventListener('fetch', (event) => {
  const path = new URL(event.request.url).pathname;
  const cacheName = SHELL.includes(path) ? VERSION : FILE.test(path) ? FILES : null;
  if (event.request.method !== 'GET' || cacheName === null) return;
  const answer = async () => (await caches.match(path, { cacheName })) ?? fetch(event.request);
  event.respondWith(answer());
});
