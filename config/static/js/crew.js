"use strict";
// The crew's pages on a phone: what is reported is saved here first and sent when there is signal. Without this script
// every form still goes to the office by itself.
(() => {
  const main = document.querySelector("main.crew");
  if (!main || !main.dataset.receive || !window.indexedDB) return;
  const { crewUser: user, session, receive, queue, signIn, rendered } = main.dataset;
  const line = main.querySelector("[data-line]");
  const SAVED = "Saved on this phone", RECEIVED = "Received by office";
  const MOST_ITEMS = 20, MOST_BYTES = 12e6, PATIENCE_MS = 60000;
  let sending = null;

  const make = (name, words = "", more = {}) => Object.assign(document.createElement(name), { textContent: words }, more);
  const count = (number) => `${number} ${number === 1 ? "item" : "items"}`;

  function say(words, notes = [], link = null) {
    const list = make("ul");
    for (const note of notes) list.append(make("li", note));
    line.replaceChildren(make("strong", words), ...(link ? [" ", link] : []), ...(notes.length ? [list] : []));
    line.hidden = false;
  }

  // --- saving ---------------------------------------------------------------------------------------------------------

  function blame(field, words) {
    const place = field.closest(".field, fieldset, form");
    let told = place.querySelector(":scope > .fault");
    if (!told) {
      told = make("span", "", { className: "fault" });
      (place.querySelector("input, textarea, .choices, .with-unit, .bay-grid") ?? place.firstChild).before(told);
    }
    told.textContent = words;
  }

  function faulty(form, given) {
    for (const told of form.querySelectorAll(".fault")) told.remove();
    const found = [];
    const label = (field) => field.closest(".field")?.querySelector("legend, label")?.textContent.trim() ?? field.name;
    for (const field of form.querySelectorAll("[data-needed]")) {
      if (field.type === "radio" ? given.has(field.name) : field.type === "file" ? field.files.length : field.value.trim()) continue;
      if (found.some((one) => one.name === field.name)) continue;
      blame(field, `Enter this: ${label(field)}`);
      found.push(field);
    }
    if (form.dataset.entry === "bay") {
      if (!given.has("bays")) found.push(form.querySelector("[name=bays]") ?? form), blame(found.at(-1), "Tap at least one bay");
      const why = form.elements.namedItem("reason");
      if (why && ["refused", "left out"].includes(given.get("state")) && !why.value.trim()) blame(why, "Enter why"), found.push(why);
    }
    if (found.length) found[0].focus();
    return found.length > 0;
  }

  const settled = (tap) => !tap.hasAttribute("data-open");

  function typed(form, submitter) {
    const given = new FormData(form, submitter);
    if (form.hasAttribute("data-remaining")) {
      given.delete("bays");
      for (const tap of document.querySelectorAll(".bay-tap")) if (!settled(tap)) given.append("bays", tap.dataset.bay);
    }
    const bays = new Set(given.getAll("bays"));
    for (const tap of document.querySelectorAll(".bay-tap")) {
      const name = `knows-${tap.dataset.bay}`;
      given.delete(name);
      if (form.dataset.entry === "bay" && bays.has(tap.dataset.bay)) given.set(name, tap.querySelector("[type=hidden]").value);
    }
    return given;
  }

  async function save(form, submitter) {
    const given = typed(form, submitter);
    if (faulty(form, given)) return;
    const fields = {};
    let photo = null;
    for (const [name, value] of given) {
      if (value instanceof File) photo = value.size ? value : null;
      else if (!["csrfmiddlewaretoken", "code"].includes(name) && value.trim()) (fields[name] ??= []).push(value);
    }
    const now = new Date();
    const item = {
      code: crypto.randomUUID(), user, job: form.dataset.job, form: form.dataset.entry, title: form.dataset.title,
      where: location.pathname, fields, photo, noted_at: now.toISOString(), added: performance.timeOrigin + performance.now(),
      state: "waiting", fault: "", tries: 0,
    };
    const mended = new URLSearchParams(location.search).get("mend");
    await crewStore.put(item);
    if (mended) {
      await crewStore.remove(mended);
      history.replaceState(null, "", location.pathname);
    }
    overlay(item);
    form.reset();
    for (const shape of document.querySelectorAll(".drawing .chosen")) shape.classList.remove("chosen");
    const back = form.dataset.back ? make("a", "Back to the house", { href: form.dataset.back }) : null;
    say(`${SAVED}: ${item.title}.`, [], back);
    await waiting();
    send();
  }

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches("form[data-entry]") || event.defaultPrevented) return;
    event.preventDefault();
    try {
      await save(form, event.submitter);
    } catch (fault) {
      say(`Not saved: this phone has no room or refuses to keep it (${fault?.name ?? "unknown"}). Write it down and tell the office.`);
    } finally {
      delete form.dataset.sent;
    }
  });

  // --- bays on the page -----------------------------------------------------------------------------------------------

  function overlay(item) {
    const wall = document.querySelector("#bays [name=wall]")?.value;
    if (item.form !== "bay" || item.fields.wall?.[0] !== wall || item.state === "refused") return;
    const state = item.fields.state[0];
    for (const number of item.fields.bays ?? []) {
      const tap = document.querySelector(`.bay-tap[data-bay="${number}"]`);
      if (!tap) continue;
      tap.querySelector("[data-state]").textContent = `${state}, ${(item.state === "received" ? RECEIVED : SAVED).toLowerCase()}`;
      tap.querySelector("[type=hidden]").value = item.code;
      tap.className = `bay-tap ${state.replace(" ", "-")}`;
      tap.toggleAttribute("data-open", ["planned", "drilled"].includes(state));
    }
    remaining();
  }

  function remaining() {
    const button = document.querySelector("[data-remaining] button");
    if (!button) return;
    const open = document.querySelectorAll(".bay-tap[data-open]").length;
    button.hidden = !open;
    button.textContent = `All remaining left (${open})`;
  }

  for (const shape of document.querySelectorAll(".drawing [data-bay]")) {
    shape.addEventListener("click", () => {
      const box = document.querySelector(`.bay-tap[data-bay="${shape.dataset.bay}"] [type=checkbox]`);
      if (box) box.click();
    });
  }
  document.addEventListener("change", (event) => {
    const tap = event.target.closest(".bay-tap");
    if (!tap) return;
    const shape = document.querySelector(`.drawing [data-bay="${tap.dataset.bay}"]`);
    if (shape) shape.classList.toggle("chosen", event.target.checked);
  });

  // --- sending --------------------------------------------------------------------------------------------------------

  async function waiting() {
    const items = await crewStore.unsent(user);
    for (const badge of document.querySelectorAll("[data-waiting]")) badge.textContent = items.length ? `(${items.length})` : "";
    if (document.querySelector("[data-items]")) await list();
    return items;
  }

  function batch(items) {
    const found = [];
    let bytes = 0;
    for (const item of items) {
      bytes += item.photo?.size ?? 0;
      if (found.length && (found.length >= MOST_ITEMS || bytes > MOST_BYTES)) break;
      found.push(item);
    }
    return found;
  }

  async function put_off(items, fault) {
    for (const item of items) Object.assign(item, { fault, tries: item.tries + 1 });
    await crewStore.put(...items);
    await waiting();
  }

  const ask = (address, more = {}) => fetch(address, {
    redirect: "manual", cache: "no-store", credentials: "same-origin", signal: AbortSignal.timeout(PATIENCE_MS), ...more,
  });

  async function who(items) {
    let answer;
    try {
      answer = await ask(session);
    } catch {
      await put_off(items, "No signal, or the office does not answer.");
      say(`${count(items.length)} ${SAVED.toLowerCase()}, not received by office: no signal.`);
      return null;
    }
    if (answer.type === "opaqueredirect" || answer.status === 401 || answer.status === 403) {
      await put_off(items, "Signed out: sign in, then it is sent.");
      const link = make("a", "Sign in", { href: `${signIn}?next=${encodeURIComponent(location.pathname)}` });
      say(`${count(items.length)} ${SAVED.toLowerCase()}. You are signed out; nothing is lost.`, [], link);
      return null;
    }
    if (!answer.ok) {
      await put_off(items, `The office answered with fault ${answer.status}.`);
      say(`${count(items.length)} ${SAVED.toLowerCase()}, not received by office: fault ${answer.status} there.`);
      return null;
    }
    const said = await answer.json();
    if (said.user !== user) {
      say("Somebody else is signed in now. Load the page again.");
      return null;
    }
    return said;
  }

  async function deliver(items, csrf) {
    const body = new FormData();
    const told = items.map(({ code, job, form, fields, noted_at }) => ({ code, job, form, fields, noted_at }));
    body.set("items", JSON.stringify(told));
    for (const item of items) if (item.photo) body.set(`photo-${item.code}`, item.photo, "photo");
    let answer;
    try {
      answer = await ask(receive, { method: "POST", body, headers: { "X-CSRFToken": csrf } });
      if (!answer.ok) throw new Error(`fault ${answer.status}`);
      answer = await answer.json();
    } catch (fault) {
      await put_off(items, `No answer that it was received (${fault.message || fault.name}). It is sent again.`);
      return null;
    }
    const notes = [];
    const by_code = new Map(answer.answers.map((one) => [one.code, one]));
    for (const item of items) {
      const one = by_code.get(item.code);
      if (!one) continue;
      if (one.state === "received") {
        const says = [...one.stops, ...one.looks, ...one.clashes.map((clash) => clash.says)];
        Object.assign(item, { state: "received", fault: "", photo: null, at: answer.at, says });
        notes.push(...says);
      } else {
        const words = one.faults.map((fault) => `${fault.field.replace(/^\$\.?/, "")}: ${fault.say}`.replace(/^: /, ""));
        Object.assign(item, { state: "refused", fault: words.join("; ") });
        notes.push(`${item.title} not taken: ${item.fault}`);
      }
    }
    await crewStore.put(...items);
    for (const item of items) overlay(item);
    return notes;
  }

  async function send_all() {
    let items = (await waiting()).filter((item) => item.state === "waiting");
    if (!items.length) return;
    const told = await who(items);
    if (!told) return;
    const notes = [];
    let received = 0;
    while (items.length) {
      const part = batch(items);
      const more = await deliver(part, told.csrf);
      if (more === null) {
        say(`${count(items.length)} ${SAVED.toLowerCase()}, not received by office yet.`);
        return;
      }
      notes.push(...more);
      received += part.filter((item) => item.state === "received").length;
      items = (await waiting()).filter((item) => item.state === "waiting" && !part.some((one) => one.code === item.code));
    }
    await crewStore.tidy(user);
    const refused = (await waiting()).length;
    const link = refused ? make("a", "Look at it", { href: queue }) : null;
    say(`${RECEIVED}: ${count(received)}.${refused ? ` ${count(refused)} not taken.` : ""}`, notes, link);
  }

  function send() {
    // One after the other: a second call waits for the first and then looks again.
    sending = (sending ?? Promise.resolve()).then(send_all).catch((fault) => say(`Not sent: ${fault.message}. It stays on this phone.`));
    return sending;
  }

  // --- the queue page -------------------------------------------------------------------------------------------------

  function age(item) {
    const minutes = Math.max(0, Math.round((Date.now() - Date.parse(item.noted_at)) / 60000));
    return minutes < 60 ? `${minutes} min ago` : `${Math.floor(minutes / 60)} h ${minutes % 60} min ago`;
  }

  function row(item) {
    const state = item.state === "received" ? RECEIVED : item.state === "refused" ? "Not taken" : SAVED;
    const shown = make("li", "", { className: item.state });
    shown.append(make("strong", item.title), ` ${age(item)}: ${state}${item.tries ? `, tried ${item.tries} times` : ""}.`);
    if (item.fault) shown.append(make("p", item.fault));
    for (const words of item.says ?? []) shown.append(make("p", words));
    const photo = item.photo ? URL.createObjectURL(item.photo) : "";
    if (photo) shown.append(make("p", "with a photo"));
    if (item.state === "refused") {
      const drop = make("button", "Throw away", { type: "button", className: "pale" });
      drop.addEventListener("click", async () => {
        if (drop.textContent === "Throw away") {
          drop.textContent = "Really throw away";
          return;
        }
        await crewStore.remove(item.code);
        waiting();
      });
      const buttons = make("div", "", { className: "big" });
      buttons.append(make("a", "Mend it", { className: "tap", href: `${item.where}?mend=${item.code}` }), drop);
      shown.append(buttons);
    }
    return shown;
  }

  async function list() {
    const items = await crewStore.mine(user);
    const open = items.filter((item) => item.state !== "received");
    document.querySelector("[data-items]").replaceChildren(...open.map(row));
    document.querySelector("[data-none]").hidden = open.length > 0;
    document.querySelector("[data-received]").replaceChildren(...items.filter((item) => item.state === "received").reverse().map(row));
    const others = await crewStore.foreign(user), foreign = document.querySelector("[data-foreign]");
    foreign.hidden = !others;
    foreign.textContent = others ? `${count(others)} of somebody else wait on this phone until they sign in here.` : "";
  }

  // --- opening a page -------------------------------------------------------------------------------------------------

  async function refill() {
    const asked = new URLSearchParams(location.search);
    const item = (await crewStore.mine(user)).find((one) => one.code === asked.get("mend"));
    const fields = item ? item.fields : asked.has("wall") ? { wall: [asked.get("wall")] } : {};
    const form = document.querySelector(item ? `form[data-entry="${item.form}"]` : "form[data-entry][data-back]");
    if (!form) return;
    for (const box of form.elements) {
      if (!(box.name in fields) || box.type === "hidden" || box.type === "file") continue;
      if (box.type === "radio" || box.type === "checkbox") box.checked = fields[box.name].includes(box.value);
      else if (box.tagName !== "BUTTON") box.value = fields[box.name].join(", ");
    }
    const fold = item && form.closest("details");
    if (fold) fold.open = true;
  }

  async function keep() {
    const kept = [...document.querySelectorAll("[data-keep] li")].map((one) => one.textContent);
    if (!kept.length || !navigator.serviceWorker.controller) return;
    const pages = [location.pathname, queue, ...kept];
    let got = 0;
    for (const address of pages) {
      try {
        const answer = await fetch(address, { credentials: "same-origin" });
        if (answer.ok && !answer.redirected) got += 1;
      } catch {
        return;
      }
    }
    if (got === pages.length) navigator.serviceWorker.controller.postMessage({ keep: pages });
    const told = document.querySelector("[data-kept]");
    told.textContent = `${got} pages are kept on this phone for places without signal.`;
    told.hidden = false;
  }

  async function settle() {
    for (const item of await crewStore.mine(user)) {
      // A copy of the page that is older than what the office received since does not know of it.
      if (item.state === "waiting" || (item.state === "received" && Date.parse(item.at) > Date.parse(rendered))) overlay(item);
    }
    remaining();
    await refill();
    await waiting();
    await send();
  }

  if (navigator.serviceWorker) {
    navigator.serviceWorker.register(main.dataset.worker).catch(() => say("This phone cannot keep pages for places without signal."));
    if (navigator.serviceWorker.controller) keep();
    else navigator.serviceWorker.addEventListener("controllerchange", keep, { once: true });
  }
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  for (const button of document.querySelectorAll("[data-send]")) button.addEventListener("click", send);
  settle();
})();
