// Lifts that the server has not acknowledged yet, kept in the browser's own database: a lost
// connection, a locked screen or a closed page loses none. A lift under way is kept every second.
"use strict";

const kept = (() => {
  const STORE = "lifts";
  let opened = null;

  function open() {
    opened ??= new Promise((done, fail) => {
      const request = indexedDB.open("rig-lifts", 1);
      request.onupgradeneeded = () => request.result.createObjectStore(STORE, {keyPath: "key"});
      request.onsuccess = () => done(request.result);
      request.onerror = () => fail(request.error);
    });
    return opened;
  }

  async function act(mode, call) {
    const base = await open();
    return new Promise((done, fail) => {
      const store = base.transaction(STORE, mode).objectStore(STORE);
      const request = call(store);
      store.transaction.oncomplete = () => done(request.result);
      store.transaction.onerror = store.transaction.onabort = () => fail(store.transaction.error);
    });
  }

  return {
    // Resolves when it is on the disk.
    put: (lift) => act("readwrite", (store) => store.put(lift)),
    remove: (key) => act("readwrite", (store) => store.delete(key)),
    all: () => act("readonly", (store) => store.getAll()),
  };
})();
