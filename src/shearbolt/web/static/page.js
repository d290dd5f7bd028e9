// What the pages do beside showing: forms that outlive a lost connection. Without this script all
// of them work, and keep nothing when the connection drops.
"use strict";

const KEPT_MS = 12 * 3600 * 1000;
const WORDS = {
  sending: "Sending …",
  reading: "Sent. It is being read …",
  lost: "No connection. It is kept on this phone and will be sent as soon as there is one.",
  lostFiles: "No connection. Choose the files again if this page was closed; else send once more.",
  again: "Send once more",
  back: "What you had begun is still here.",
  large: "That is more than this computer can take at once. Send it in parts.",
  earlier: "What became of the other words",
  odd: "The answer cannot be understood. Send it once more; it will not be entered twice.",
};

function fieldsOf(form) {
  return [...form.elements].filter((one) => one.name && one.type !== "file");
}

function keep(form) {
  const values = fieldsOf(form)
    .filter((one) => !["radio", "checkbox"].includes(one.type) || one.checked)
    .map((one) => [one.name, one.value]);
  try {
    localStorage.setItem(`form ${form.dataset.form}`, JSON.stringify({ at: Date.now(), values }));
  } catch {
    // Nothing can be kept in a private window; the form works all the same.
  }
}

function forget(form) {
  localStorage.removeItem(`form ${form.dataset.form}`);
}

function bringBack(form) {
  const kept = JSON.parse(localStorage.getItem(`form ${form.dataset.form}`) || "null");
  if (!kept || Date.now() - kept.at > KEPT_MS) return;
  const typed = kept.values.some(([name, value]) => value && !["key", "who"].includes(name));
  if (!typed || form.querySelector("[data-wrong]:not([hidden])")) return;
  for (const one of fieldsOf(form)) {
    const values = kept.values.filter(([name]) => name === one.name).map(([, value]) => value);
    if (["radio", "checkbox"].includes(one.type)) one.checked = values.includes(one.value);
    else if (values.length) one.value = values[0];
  }
  tell(form, WORDS.back);
}

function tell(form, words) {
  const line = form.querySelector("[data-sending]");
  line.textContent = words;
  line.hidden = !words;
}

function complain(form, problems, earlier) {
  const box = form.querySelector("[data-trouble]");
  box.textContent = problems[""] || "";
  if (earlier) {
    const link = document.createElement("a");
    link.href = earlier;
    link.className = "go";
    link.textContent = WORDS.earlier;
    box.append(link);
  }
  box.hidden = !problems[""];
  let first = box.hidden ? null : box;
  for (const line of form.querySelectorAll("[data-wrong]")) {
    const words = problems[line.dataset.wrong];
    line.textContent = words || "";
    line.hidden = !words;
    const input = form.elements[line.dataset.wrong];
    if (input instanceof HTMLElement) {
      if (words) input.setAttribute("aria-invalid", "true");
      else input.removeAttribute("aria-invalid");
    }
    const folded = line.closest("details");
    if (words && folded) folded.open = true;
    if (words && !first) first = input instanceof HTMLElement ? input : line;
    if (words) {
      const opens = form.querySelector(`[data-opens="${line.dataset.wrong}"]`);
      if (opens) opens.open = true;
    }
  }
  if (first) {
    first.scrollIntoView({ block: "center" });
    if (first.focus) first.focus();
  }
}

function bodyOf(form) {
  const data = new FormData(form);
  if (form.enctype !== "multipart/form-data") return new URLSearchParams(data);
  for (const input of form.querySelectorAll("input[type=file]")) {
    for (const file of input.files) data.append("modified", String(file.lastModified));
  }
  return data;
}

function sizeOf(form) {
  let size = 0;
  for (const input of form.querySelectorAll("input[type=file]")) {
    for (const file of input.files) size += file.size;
  }
  return size;
}

function send(form) {
  const button = form.querySelector(".send");
  if (button.disabled) return;
  if (form.dataset.most && sizeOf(form) > Number(form.dataset.most)) {
    complain(form, { "": WORDS.large });
    return;
  }
  const written = form.elements.written_at;
  if (written && !written.value) written.value = new Date().toISOString();
  if (form.dataset.form) keep(form);
  button.disabled = true;
  tell(form, WORDS.sending);
  const sent = new XMLHttpRequest();
  sent.open("POST", form.action);
  sent.setRequestHeader("Accept", "application/json");
  sent.upload.onprogress = (now) => {
    if (now.lengthComputable && now.total > 1e6) {
      tell(form, `${WORDS.sending} ${Math.floor((100 * now.loaded) / now.total)} %`);
    }
  };
  sent.upload.onload = () => {
    if (sizeOf(form)) tell(form, WORDS.reading);
  };
  sent.onerror = () => {
    button.disabled = false;
    button.textContent = WORDS.again;
    tell(form, sizeOf(form) ? WORDS.lostFiles : WORDS.lost);
    form.dataset.waiting = "yes";
  };
  sent.onload = () => {
    button.disabled = false;
    tell(form, "");
    delete form.dataset.waiting;
    let answer;
    try {
      answer = JSON.parse(sent.responseText);
    } catch {
      answer = { sentence: WORDS.odd };
    }
    if (sent.status === 200 && answer.to) {
      if (form.dataset.form) forget(form);
      location.assign(answer.to);
      return;
    }
    if (answer.key) form.elements.key.value = answer.key;
    if (written) written.value = "";
    complain(form, answer.problems || { "": answer.sentence || WORDS.odd }, answer.earlier);
    if (form.dataset.form) keep(form);
  };
  sent.send(bodyOf(form));
}

for (const form of document.querySelectorAll("form[data-form]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    send(form);
  });
  if (form.dataset.form) {
    bringBack(form);
    form.addEventListener("input", () => keep(form));
  }
}

// A phone that finds the farm's network again sends what waits.
addEventListener("online", () => {
  for (const form of document.querySelectorAll("form[data-waiting]")) send(form);
});

// A picture's table comes when it is opened; without it the link there leads to the same table.
for (const folded of document.querySelectorAll("details[data-table]")) {
  const load = async () => {
    if (!folded.open || folded.dataset.there) return;
    folded.dataset.there = "yes";
    try {
      const answer = await fetch(folded.dataset.table);
      if (!answer.ok) throw new Error(String(answer.status));
      folded.querySelector("[data-table-here]").innerHTML = await answer.text();
    } catch {
      delete folded.dataset.there;
    }
  };
  folded.addEventListener("toggle", load);
}

// The live page: each moment comes as a piece of the page; the browser reconnects by itself.
const live = document.querySelector("[data-live]");
if (live && window.EventSource) {
  const told = document.querySelector("[data-live-told]");
  const ending = document.querySelector("[data-live-stop]");
  const news = new EventSource("/live/events");
  let last = Date.now();
  news.onmessage = (event) => {
    last = Date.now();
    live.innerHTML = event.data;
    live.classList.remove("stale");
    told.hidden = true;
    ending.hidden = live.querySelector("[data-hands-off]") !== null;
  };
  news.addEventListener("ended", () => {
    news.close();
    location.assign("/live");
  });
  setInterval(() => {
    const age = Math.round((Date.now() - last) / 1000);
    if (age < 5) return;
    live.classList.add("stale");
    told.hidden = false;
    told.textContent = `No news for ${age} s. The recording goes on at the computer.`;
  }, 1000);
}
