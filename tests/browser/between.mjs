// @ts-check
// Stands between a browser and the server, and changes what passes on its way: a new version is put up without a new build.

import { readFile } from 'node:fs/promises';
import { createServer, request } from 'node:http';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';

/**
 * @param {string} base of the server
 * @param {(path: string, text: string) => string} change what is made of a page, a module or a style sheet
 */
export async function between(base, change) {
  const { hostname, port } = new URL(base);
  const server = createServer((asked, answer) => {
    const headers = { ...asked.headers, 'accept-encoding': 'identity' };
    // The tag is the server's and not that of what is made of its answer here.
    delete headers['if-none-match'];
    const onward = request({ hostname, port, path: asked.url, method: asked.method, headers }, (reply) => {
      /** @type {Buffer[]} */
      const parts = [];
      reply.on('data', (part) => parts.push(part));
      reply.on('end', () => {
        const text = change(asked.url ?? '', Buffer.concat(parts).toString());
        answer.writeHead(reply.statusCode ?? 502, { ...reply.headers, 'content-length': Buffer.byteLength(text) });
        answer.end(text);
      });
    });
    onward.on('error', () => answer.destroy());
    asked.pipe(onward);
  });
  await new Promise((resolve) => server.listen(0, '127.0.0.1', () => resolve(undefined)));
  const address = /** @type {import('node:net').AddressInfo} */ (server.address());
  return { base: `http://127.0.0.1:${address.port}`, stop: () => void (server.closeAllConnections(), server.close()) };
}

/**
 * The server with the phone's page as it lies in a folder of the sources, so that a change of it is tried without a build.
 * Everything else passes byte for byte.
 * @param {string} base of the server
 * @param {string} folder of the modules; templates lie beside it
 */
export async function fromSources(base, folder) {
  const { hostname, port } = new URL(base);
  const server = createServer(async (asked, answer) => {
    const found = await source(asked.url ?? '', folder);
    if (found !== null) {
      const small = (asked.headers['accept-encoding'] ?? '').includes('gzip');
      answer.writeHead(200, { ...found.headers, 'cache-control': 'no-cache', ...(small ? { 'content-encoding': 'gzip' } : {}) });
      return void answer.end(small ? gzipSync(found.text) : found.text);
    }
    const onward = request({ hostname, port, path: asked.url, method: asked.method, headers: asked.headers }, (reply) => {
      answer.writeHead(reply.statusCode ?? 502, reply.headers);
      reply.pipe(answer);
    });
    onward.on('error', () => answer.destroy());
    asked.pipe(onward);
  });
  await new Promise((resolve) => server.listen(0, '127.0.0.1', () => resolve(undefined)));
  const address = /** @type {import('node:net').AddressInfo} */ (server.address());
  return { base: `http://127.0.0.1:${address.port}`, stop: () => void (server.closeAllConnections(), server.close()) };
}

/** What the folder has for a path; the worker gets a version of its own with each run. @param {string} path @param {string} folder */
async function source(path, folder) {
  const name = path === '/sw.js' ? 'sw.js' : /^\/modules\/(\w+\.js)$/.exec(path)?.[1];
  if (path === '/phone.css') return { headers: { 'content-type': 'text/css; charset=utf-8' }, text: await readFile(join(folder, '../templates/phone.css'), 'utf8') };
  if (name === undefined) return null;
  const text = (await readFile(join(folder, name), 'utf8')).replace("= 'VERSION'", `= 'sources-${process.pid}'`);
  return { headers: { 'content-type': 'text/javascript; charset=utf-8' }, text };
}
