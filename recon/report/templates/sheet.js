"use strict";
// Keeps what is typed, and saves it as files that recon takes in. The page is complete without it, as a sheet to print.
(() => {
  const facts = JSON.parse(document.getElementById("facts").textContent);
  const at = (id) => document.getElementById(id);
  const fields = [...document.querySelectorAll("main input")];
  const key = `recon-count-sheet-${facts.id}`;
  const UNITS = ["counted", "loaded", "removed"];
  const MONEY = ["notes", "coins", "total", "tubes"];
  let unsaved = false;

  // What stands in a field, with the digits of other scripts as 0 to 9.
  const plain = (text) => text.trim().replace(/[\u0660-\u0669\u06f0-\u06f9]/g, (digit) => digit.charCodeAt(0) & 15);
  const value = (id) => at(id).value.trim();
  const say = (text) => { at("said").textContent = text; };

  // The wall clock of a zone, wherever the phone is: 2026-09-28T07:30:05. Empty where the browser does not know the zone.
  const wall = (zone) => {
    try {
      const two = "2-digit";
      const form = new Intl.DateTimeFormat("en-CA-u-ca-gregory-nu-latn", {
        timeZone: zone, hourCycle: "h23", year: "numeric", month: two, day: two, hour: two, minute: two, second: two,
      });
      const part = Object.fromEntries(form.formatToParts(new Date()).map(({ type, value }) => [type, value]));
      return `${part.year}-${part.month}-${part.day}T${part.hour}:${part.minute}:${part.second}`;
    } catch (unknown) {
      return "";
    }
  };

  // -- keeping -------------------------------------------------------------------------------------------------------

  let store = null;
  try {
    store = window.localStorage;
    store.setItem(`${key}-try`, "1");
    store.removeItem(`${key}-try`);
  } catch (refused) {
    store = null;
  }
  const keep = () => {
    const typed = Object.fromEntries(fields.filter((field) => field.value !== "").map((field) => [field.id, field.value]));
    try {
      store.setItem(key, JSON.stringify(typed));
    } catch (full) {
      warn();
    }
  };
  const warn = () => {
    store = null;
    at("keeping").textContent = "This browser keeps nothing that is typed here: save before you leave or reload the page.";
  };
  const bring = () => {
    let typed = {};
    try {
      typed = JSON.parse(store.getItem(key) || "{}");
    } catch (damaged) {
      typed = {};
    }
    for (const field of fields) {
      if (typeof typed[field.id] === "string") field.value = typed[field.id];
      show(field);
    }
  };

  // -- what is seen --------------------------------------------------------------------------------------------------

  const show = (field) => {
    if (field.classList.contains("when")) field.classList.toggle("unset", field.value === "");
    if (field.id.endsWith("-note") && field.value !== "") {
      const more = at(field.id.replace(/-note$/, "-more"));
      if (more) more.setAttribute("aria-expanded", "true");
    }
  };
  const of = (m, s, name) => `m${m}s${s}-${name}`;
  const begun = (m) => facts.machines[m].labels.some((_, s) => [...UNITS, "note"].some((name) => value(of(m, s, name)) !== ""));
  const collected = (m) => [...MONEY, "cash-note"].some((name) => value(`m${m}-${name}`) !== "");
  const progress = () => {
    let all = 0;
    let counted = 0;
    facts.machines.forEach(({ labels }, m) => {
      const here = labels.filter((_, s) => value(of(m, s, "counted")) !== "").length;
      const done = at(`m${m}-done`);
      if (done) done.textContent = `${here} of ${labels.length}`;
      all += labels.length;
      counted += here;
    });
    at("save-cash").hidden = !facts.machines.some((_, m) => collected(m));
    say(`${counted} of ${all} slots counted`);
  };

  document.addEventListener("input", ({ target }) => {
    if (!fields.includes(target)) return;
    const [, m, rest] = /^m(\d+)(.*)$/.exec(target.id);
    const cash = !rest.startsWith("s") && !["-who", "-when"].includes(rest);
    const when = at(`m${m}-${cash ? "taken" : "when"}`);
    if (when.value === "" && target !== when && rest !== "-who" && target.value !== "") {
      when.value = wall(facts.machines[m].zone).slice(0, 16);
      show(when);
    }
    target.removeAttribute("aria-invalid");
    unsaved = true;
    show(target);
    if (store) keep();
    progress();
  });

  // Enter goes down the column, as on paper.
  document.addEventListener("keydown", (event) => {
    const found = event.key === "Enter" && /^m\d+s\d+-(counted|loaded|removed)$/.exec(event.target.id || "");
    if (!found) return;
    event.preventDefault();
    const column = fields.filter((field) => field.id.endsWith(`-${found[1]}`));
    const next = column[column.indexOf(event.target) + 1];
    if (next) {
      next.focus();
      next.select();
    }
  });

  document.addEventListener("click", ({ target }) => {
    if (!target.classList.contains("more")) return;
    const open = target.getAttribute("aria-expanded") !== "true";
    target.setAttribute("aria-expanded", String(open));
    if (open) at(target.getAttribute("aria-controls")).focus();
  });

  // -- saving --------------------------------------------------------------------------------------------------------

  class Wrong extends Error {
    constructor(id, text) {
      super(text);
      this.id = id;
    }
  }
  const time = (id, machine) => {
    const written = at(id).value;
    if (written === "") throw new Wrong(id, `${machine}: fill in when, by the machine's own clock.`);
    return written.slice(0, 16).replace("T", " ");
  };
  const units = (id, name, machine, label) => {
    const text = plain(at(id).value);
    if (text !== "" && !(/^\d+$/.test(text) && Number(text) <= facts.most)) {
      throw new Wrong(id, `${machine} ${label}, ${name}: "${text}" is no whole number from 0 to ${facts.most}. Leave it blank if it was not counted.`);
    }
    return text === "" ? "" : String(Number(text));
  };
  // An amount as whole minor units in text, null where blank: no fraction is ever a floating number.
  const minor = (id, name, { machine, digits }) => {
    const text = plain(at(id).value);
    if (text === "") return null;
    const found = /^(\d{1,9})(?:[.,](\d*))?$/.exec(text);
    if (!found || (found[2] || "").length > digits || (digits === 0 && /[.,]/.test(text))) {
      const sample = digits === 0 ? "1250" : `12.${"50".padEnd(digits, "0").slice(0, digits)}`;
      throw new Wrong(id, `${machine}, ${name}: "${text}" is no amount such as ${sample}.`);
    }
    return Number(found[1] + (found[2] || "").padEnd(digits, "0"));
  };
  // With three digits, 1.234 could be read as thousands: 0001.234 cannot.
  const amount = (number, digits) => {
    if (number === null) return "";
    const text = String(number).padStart(digits + (digits === 3 ? 4 : 1), "0");
    return digits === 0 ? text : `${text.slice(0, -digits)}.${text.slice(-digits)}`;
  };
  // A text that a spreadsheet could run gets an apostrophe, which recon takes off again.
  const cell = (text) => {
    const tame = /^'*[=+\-@\t\r\n\0＝＋－＠]/.test(text) ? `'${text}` : text;
    return /[",;|\t\r\n]/.test(tame) ? `"${tame.replace(/"/g, '""')}"` : tame;
  };
  const table = (header, rows) => `\ufeff${[header, ...rows].map((row) => row.map(cell).join(",")).join("\r\n")}\r\n`;

  const counts = () => {
    const rows = [];
    facts.machines.forEach((machine, m) => {
      if (!begun(m)) return;
      const when = time(`m${m}-when`, machine.machine);
      machine.labels.forEach((label, s) => {
        const figures = UNITS.map((name) => units(of(m, s, name), name, machine.machine, label));
        rows.push([machine.machine, when, label, ...figures, value(`m${m}-who`), value(of(m, s, "note"))]);
      });
    });
    if (rows.length === 0) throw new Wrong(null, "Nothing is counted yet: fill in a slot first.");
    const machines = new Set(rows.map((row) => row[0])).size;
    const blank = rows.filter((row) => row[3] === "").length;
    const told = `${machines === 1 ? rows[0][0] : `${machines} machines`}, ${rows.length - blank} slots counted, ${blank} left blank`;
    return { name: "count-sheet", told, text: table(["machine", "time", "label", ...UNITS, "counter", "note"], rows) };
  };
  const cash = () => {
    const rows = [];
    facts.machines.forEach((machine, m) => {
      if (!collected(m)) return;
      const [notes, coins, total, tubes] = MONEY.map((name) => minor(`m${m}-${name}`, name, machine));
      if (notes === null && coins === null && total === null) {
        throw new Wrong(`m${m}-total`, `${machine.machine}: fill in what was taken out. Where the cash stayed in, leave all of it blank, coins left too.`);
      }
      if (notes !== null && coins !== null && total !== null && notes + coins !== total) {
        throw new Wrong(`m${m}-total`, `${machine.machine}: the total is not notes and coins together. Count again, or leave the total blank.`);
      }
      const figures = [notes, coins, total, tubes].map((number) => amount(number, machine.digits));
      rows.push([machine.machine, time(`m${m}-taken`, machine.machine), ...figures, value(`m${m}-cash-note`)]);
    });
    if (rows.length === 0) throw new Wrong(null, "No cash is filled in.");
    return { name: "cash-sheet", told: rows.map((row) => row[0]).join(", "), text: table(["machine", "time", ...MONEY, "note"], rows) };
  };
  const save = (make) => {
    let made;
    try {
      made = make();
    } catch (wrong) {
      if (!(wrong instanceof Wrong)) throw wrong;
      say(wrong.message);
      if (wrong.id !== null) {
        at(wrong.id).setAttribute("aria-invalid", "true");
        at(wrong.id).focus();
      }
      return;
    }
    // Names that sort in the order of saving: of two sheets for one moment, the later one counts.
    const stamp = (wall(facts.zone) || new Date().toISOString().slice(0, 19)).replace(/[-:]/g, "").replace("T", "-");
    const name = `${made.name}-${stamp}.csv`;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([made.text], { type: "text/csv;charset=utf-8" }));
    link.download = name;
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    unsaved = false;
    at("by-hand").hidden = false;
    at("by-hand-name").textContent = name;
    at("by-hand-text").value = made.text.slice(1);
    say(`Saved as ${name}: ${made.told}.`);
  };
  at("save-counts").addEventListener("click", () => save(counts));
  at("save-cash").addEventListener("click", () => save(cash));

  const ask = (asking) => {
    at("sure").hidden = !asking;
    at("clear").hidden = asking;
    at(asking ? "clear-no" : "clear").focus();
  };
  at("clear").addEventListener("click", () => ask(true));
  at("clear-no").addEventListener("click", () => ask(false));
  at("clear-yes").addEventListener("click", () => {
    for (const field of fields) {
      field.value = "";
      field.removeAttribute("aria-invalid");
      show(field);
    }
    if (store) keep();
    unsaved = false;
    ask(false);
    progress();
  });

  window.addEventListener("beforeunload", (event) => {
    if (!store && unsaved) event.preventDefault();
  });

  document.documentElement.classList.add("scripted");
  if (store) {
    at("keeping").textContent = "What you type is kept in this browser until you clear it. Times are set when you begin to type: correct them if you counted earlier.";
    bring();
  } else {
    warn();
  }
  progress();
})();
