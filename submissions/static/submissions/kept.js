// Keeps what has not arrived yet on this device: whole files on their way, and pieces of a take filmed here.
// One IndexedDB with two stores: "files" {key, file, meta} and "pieces" {take, at, blob}; "takes" says what a take is.

const NAME = "tapoff-kept";

function open() {
  return new Promise((done, fail) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("files", { keyPath: "key" });
      request.result.createObjectStore("takes", { keyPath: "key" });
      request.result.createObjectStore("pieces", { keyPath: ["take", "at"] });
    };
    request.onsuccess = () => done(request.result);
    request.onerror = () => fail(request.error);
  });
}

async function within(stores, mode, work) {
  const base = await open();
  try {
    return await new Promise((done, fail) => {
      const transaction = base.transaction(stores, mode);
      let result;
      transaction.oncomplete = () => done(result);
      transaction.onerror = transaction.onabort = () => fail(transaction.error);
      const asked = work((store) => transaction.objectStore(store));
      if (asked) asked.onsuccess = () => { result = asked.result; };
    });
  } finally {
    base.close();
  }
}

const ofTake = (take) => IDBKeyRange.bound([take, 0], [take, Infinity]);

export const put = (store, value) => within([store], "readwrite", (at) => at(store).put(value));
export const get = (store, key) => within([store], "readonly", (at) => at(store).get(key));
export const all = (store) => within([store], "readonly", (at) => at(store).getAll());
export const drop = (store, key) => within([store], "readwrite", (at) => at(store).delete(key));
export const pieces = (take) => within(["pieces"], "readonly", (at) => at("pieces").getAll(ofTake(take)));
export const dropTake = (take) => within(["pieces", "takes"], "readwrite", (at) => {
  at("pieces").delete(ofTake(take));
  at("takes").delete(take);
});

// A device without room, or a private window, may refuse: then nothing is kept and sending goes on all the same.
export async function tryTo(work) {
  try {
    return await work();
  } catch (error) {
    console.warn("not kept on this device:", error);
    return undefined;
  }
}
