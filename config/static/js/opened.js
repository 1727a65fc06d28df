"use strict";
// Tells the firm that somebody is reading, once the page stood open for a moment. Reading itself changes nothing.
const address = document.body.dataset.opened;
if (address) {
  let told = false;
  const tell = () => {
    if (told || document.visibilityState !== "visible") return;
    told = true;
    fetch(address, { method: "POST", keepalive: true }).catch(() => {});
  };
  setTimeout(tell, 1500);
  document.addEventListener("visibilitychange", () => setTimeout(tell, 1500));
}
