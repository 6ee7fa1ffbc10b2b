// @ts-check
// What the phone keeps, so that it survives a killed browser, a flat battery and days without a signal. Two shelves:
// records that wait to be sent, and what was downloaded.

const NAME = 'swardbook';

/** @returns {Promise<IDBDatabase>} */
function open() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore('waiting', { keyPath: 'id' });
      request.result.createObjectStore('downloaded');
    };
    request.onsuccess = () => {
      // A newer page in another tab must be able to change the shelves.
      request.result.onversionchange = () => request.result.close();
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error('another tab holds the shelves; close it'));
  });
}

/** @typedef {{ waiting: IDBObjectStore, downloaded: IDBObjectStore }} Shelves */

/**
 * Runs one transaction over both shelves: all of it comes onto the disk, or nothing. Answers only when it is there.
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(shelves: Shelves) => Promise<T>} work waits for nothing but the shelves
 * @returns {Promise<T>}
 */
export async function across(mode, work) {
  const database = await open();
  try {
    return await new Promise((resolve, reject) => {
      const transaction = database.transaction(['waiting', 'downloaded'], mode, { durability: 'strict' });
      /** @type {T} */
      let result;
      /** @type {unknown} */
      let fault = null;
      transaction.oncomplete = () => resolve(result);
      transaction.onabort = () => reject(fault ?? transaction.error);
      const shelves = { waiting: transaction.objectStore('waiting'), downloaded: transaction.objectStore('downloaded') };
      work(shelves).then((found) => (result = found), (why) => {
        fault = why;
        // What the phone has no room for has ended the transaction already.
        try {
          transaction.abort();
        } catch {
          reject(why);
        }
      });
    });
  } finally {
    database.close();
  }
}

/** Waits for one request of a transaction. @template T @param {IDBRequest<T>} request @returns {Promise<T>} */
export const got = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

/** @typedef {{ id: string, by: string, made_at: number, record: any, words: string, state: 'waiting' | 'refused', problem: any, tries: number }} Waiting */

/** @returns {Promise<Waiting[]>} oldest first */
export async function waiting() {
  const all = /** @type {Waiting[]} */ (await across('readonly', (shelves) => got(shelves.waiting.getAll())));
  return all.sort((one, other) => one.made_at - other.made_at);
}

/** @param {Waiting} item */
export const keep = (item) => across('readwrite', (shelves) => got(shelves.waiting.put(item)));

/** @param {string} id */
export const drop = (id) => across('readwrite', (shelves) => got(shelves.waiting.delete(id)));

/** @param {string} name @returns {Promise<any>} */
export const downloaded = (name) => across('readonly', (shelves) => got(shelves.downloaded.get(name)));

/** @param {string} name @param {any} value */
export const download = (name, value) => across('readwrite', (shelves) => got(shelves.downloaded.put(value, name)));
