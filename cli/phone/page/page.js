// What a form can't do: shrink a photo before it travels, tell how far it is, take a tap on a cell.
// Everything else on the page works without this.
"use strict";

const told = JSON.parse(document.body.dataset.told); // what is said here, in the page's language
const LONGEST = 2400; // pixels of the longer side that are sent; the reader needs no more

async function shrunk(file) {
  try {
    const picture = await createImageBitmap(file); // turned upright as the camera says
    const scale = LONGEST / Math.max(picture.width, picture.height);
    if (scale >= 1 && file.type === "image/jpeg") return file;
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * Math.min(1, scale));
    canvas.height = Math.round(picture.height * Math.min(1, scale));
    const pen = canvas.getContext("2d");
    pen.imageSmoothingQuality = "high";
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    const small = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.92));
    return small && small.size < file.size ? small : file;
  } catch {
    return file; // a kind this browser can't draw: the computer opens it
  }
}

function send(form, photo) {
  const says = form.querySelector(".progress");
  const after = form.querySelector("[name=after]");
  const request = new XMLHttpRequest();
  request.open("POST", form.getAttribute("action") + (after ? "?after=" + encodeURIComponent(after.value) : ""));
  request.setRequestHeader("Content-Type", "application/octet-stream");
  request.upload.onprogress = (far) => {
    if (far.lengthComputable && far.loaded < far.total) {
      says.textContent = told.sending.replace("#", Math.round((100 * far.loaded) / far.total));
    } else {
      says.textContent = told.reading;
    }
  };
  request.onload = () => {
    if (request.status === 200) {
      location.assign(request.responseURL);
    } else if (request.status === 400) {
      says.textContent = told.none;
    } else {
      says.textContent = request.status === 413 ? told.big
        : request.status === 503 ? told.busy
        : told.lost;
    }
  };
  request.onerror = () => { says.textContent = told.away; };
  request.send(photo);
}

for (const form of document.querySelectorAll("form.photo")) {
  const input = form.querySelector("input[type=file]");
  const chosen = async () => {
    if (!input.files.length) return;
    form.querySelector(".progress").textContent = told.ready;
    send(form, await shrunk(input.files[0]));
  };
  input.addEventListener("change", chosen);
  chosen(); // somebody was quicker than this script
}

function inside(corners, x, y) {
  let within = false;
  for (let a = 0, b = corners.length - 1; a < corners.length; b = a++) {
    const [ax, ay] = corners[a];
    const [bx, by] = corners[b];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) within = !within;
  }
  return within;
}

function tapped(picture, areas, event) {
  const box = picture.getBoundingClientRect();
  const x = ((event.clientX - box.left) * picture.width) / box.width;
  const y = ((event.clientY - box.top) * picture.height) / box.height;
  const scale = picture.getAttribute("width") / picture.width;
  return areas.findIndex((corners) => inside(corners, x * scale, y * scale));
}

for (const picture of document.querySelectorAll("img[data-cells]")) {
  const cells = JSON.parse(picture.dataset.cells);
  picture.addEventListener("click", (event) => {
    const cell = tapped(picture, cells, event);
    if (cell >= 0) location.assign(picture.dataset.at + "/cell/R" + (Math.floor(cell / 9) + 1) + "C" + ((cell % 9) + 1));
  });
}

for (const picture of document.querySelectorAll("img[data-grids]")) {
  const grids = JSON.parse(picture.dataset.grids);
  picture.addEventListener("click", (event) => {
    const button = picture.closest("form").querySelector(`button[value="${tapped(picture, grids, event) + 1}"]`);
    if (button) button.click();
  });
}

const heading = document.querySelector("h1[tabindex]");
if (heading) heading.focus({ preventScroll: true }); // a screen reader says the sentence first

const running = document.querySelector("[data-again]"); // pages on their way into the book
if (running) {
  setTimeout(async function look() {
    try {
      const page = await (await fetch(location.pathname)).text();
      const fresh = new DOMParser().parseFromString(page, "text/html").getElementById("running");
      document.getElementById("running").replaceChildren(...fresh.childNodes);
      if (!document.querySelector("[data-again]")) return;
    } catch { /* the computer is away: look again */ }
    setTimeout(look, 1500);
  }, 1000);
}

const clock = document.querySelector("[data-clock]");
if (clock) {
  const began = Date.now() - 1000 * Number(clock.dataset.clock);
  setInterval(() => {
    const seconds = Math.floor((Date.now() - began) / 1000);
    clock.textContent = told.time.replace("#m", Math.floor(seconds / 60)).replace("#s", seconds % 60);
  }, 1000);
}
