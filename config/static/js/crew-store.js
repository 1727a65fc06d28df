"use strict";
// What was reported on this phone, until the office has it. Every item says whose it is; an item is only taken away once
// the server has answered that it was received, or somebody throws away one that was refused.
const crewStore = (() => {
  const NAME = "cavitybook-crew";
  const KEPT = 20;
  const asked = (request) => new Promise((done, failed) => {
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });
  let opened = null;
  const open = () => {
    opened ??= new Promise((done, failed) => {
      const request = indexedDB.open(NAME, 1);
      request.onupgradeneeded = () => request.result.createObjectStore("items", { keyPath: "code" });
      request.onsuccess = () => done(request.result);
      request.onerror = () => failed(request.error);
    });
    return opened;
  };
  const all = async () => {
    const rows = await asked((await open()).transaction("items").objectStore("items").getAll());
    return rows.sort((one, other) => one.added - other.added);
  };
  const write = async (act) => {
    const change = (await open()).transaction("items", "readwrite", { durability: "strict" });
    act(change.objectStore("items"));
    await new Promise((done, failed) => {
      change.oncomplete = () => done();
      change.onerror = () => failed(change.error);
      change.onabort = () => failed(change.error);
    });
  };
  const put = (...items) => write((rows) => items.forEach((item) => rows.put(item)));
  const remove = (...codes) => write((rows) => codes.forEach((code) => rows.delete(code)));
  const mine = async (user) => (await all()).filter((item) => item.user === user);
  const unsent = async (user) => (await mine(user)).filter((item) => item.state !== "received");
  const foreign = async (user) => (await all()).filter((item) => item.user !== user && item.state !== "received").length;
  // Of what was received only the last few stay, without their photos, to be looked at.
  const tidy = async (user) => {
    const old = (await mine(user)).filter((item) => item.state === "received").slice(0, -KEPT);
    if (old.length) await remove(...old.map((item) => item.code));
  };
  const forget = async (user) => {
    const done = (await mine(user)).filter((item) => item.state === "received");
    if (done.length) await remove(...done.map((item) => item.code));
  };
  return { put, remove, mine, unsent, foreign, tidy, forget };
})();
