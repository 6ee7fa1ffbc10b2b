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

/**
 * Runs one transaction, and answers only when it is on the disk.
 * @template T
 * @param {'waiting' | 'downloaded'} shelf
 * @param {IDBTransactionMode} mode
 * @param {(store: IDBObjectStore) => IDBRequest<T>} work
 * @returns {Promise<T>}
 */
async function run(shelf, mode, work) {
  const database = await open();
  try {
    return await new Promise((resolve, reject) => {
      const transaction = database.transaction(shelf, mode, { durability: 'strict' });
      const request = work(transaction.objectStore(shelf));
      transaction.oncomplete = () => resolve(request.result);
      transaction.onabort = () => reject(transaction.error ?? request.error);
      transaction.onerror = () => reject(transaction.error ?? request.error);
    });
  } finally {
    database.close();
  }
}

/** @typedef {{ id: string, by: string, made_at: number, record: any, words: string, state: 'waiting' | 'refused', problem: any, tries: number }} Waiting */

/** @returns {Promise<Waiting[]>} oldest first */
export async function waiting() {
  const all = /** @type {Waiting[]} */ (await run('waiting', 'readonly', (store) => store.getAll()));
  return all.sort((one, other) => one.made_at - other.made_at);
}

/** @param {Waiting} item */
export const keep = (item) => run('waiting', 'readwrite', (store) => store.put(item));

/** @param {string} id */
export const drop = (id) => run('waiting', 'readwrite', (store) => store.delete(id));

/** @param {string} name @returns {Promise<any>} */
export const downloaded = (name) => run('downloaded', 'readonly', (store) => store.get(name));

/** @param {string} name @param {any} value */
export const download = (name, value) => run('downloaded', 'readwrite', (store) => store.put(value, name));

/** Takes everything that was downloaded off the phone. What waits to be sent stays. */
export const forget = () => run('downloaded', 'readwrite', (store) => store.clear());
