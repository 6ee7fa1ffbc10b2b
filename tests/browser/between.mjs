// @ts-check
// Stands between a browser and the server, and changes what passes on its way: a new version is put up without a new build.

import { createServer, request } from 'node:http';

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
