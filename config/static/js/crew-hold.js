"use strict";
// Nobody signs out while the office lacks something that was reported on this phone; once all is there, the pages that
// the phone kept are forgotten.
(() => {
  const { user, queue } = document.currentScript.dataset;
  const hold = (form, count) => {
    const said = document.getElementById("held") ?? document.createElement("div");
    said.id = "held";
    said.className = "said held";
    said.setAttribute("role", "alert");
    const link = document.createElement("a");
    link.href = queue;
    link.textContent = "Send first";
    said.replaceChildren(`${count} ${count === 1 ? "item" : "items"} not received by office. `, link);
    document.querySelector("main").prepend(said);
    delete form.dataset.sent;
    said.scrollIntoView();
  };
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches(".person form") || !window.indexedDB) return;
    event.preventDefault();
    try {
      const waiting = await crewStore.unsent(user);
      if (waiting.length) {
        hold(form, waiting.length);
        return;
      }
      await crewStore.forget(user);
    } catch {
      // A browser that keeps nothing holds nobody.
    }
    if (window.caches) {
      for (const name of await caches.keys()) if (name.startsWith("crew-") && !name.startsWith("crew-shell-")) await caches.delete(name);
    }
    form.submit();
  });
})();
