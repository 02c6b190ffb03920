// Takes pushed messages while no page is open, and says plainly that it is offline when the service cannot be reached.
// It keeps no page: what a pour was a while ago must never look like what it is now.
"use strict";
const SHELL = "pourlog-shell-{{ version }}", CONTACT = "pourlog-contact";
const FILES = [
  "/offline", "{{ asset('look.css') }}", "{{ asset('bench.css') }}", "{{ asset('words.js') }}",
  "{{ asset('offline.js') }}", "{{ asset('icon.svg') }}",
  "{{ asset('font-400.woff2') }}", "{{ asset('font-600.woff2') }}",
];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = (name) => name.startsWith("pourlog-shell-") && name !== SHELL;
  event.waitUntil(caches.keys()
    .then((names) => Promise.all(names.filter(old).map((name) => caches.delete(name))))
    .then(() => self.clients.claim()));
});

const heard = async (answer) => {
  try {
    await (await caches.open(CONTACT)).put("/last-contact", new Response(String(Date.now())));
  } catch { /* a browser whose disk is full still shows the page */ }
  return answer;
};

self.addEventListener("fetch", (event) => {
  const asked = event.request, url = new URL(asked.url);
  if (asked.method !== "GET" || url.origin !== location.origin) return;
  if (asked.mode === "navigate") {
    event.respondWith(fetch(asked).then(heard, () => caches.match("/offline")));
  } else if ((asked.headers.get("accept") || "").startsWith("text/html")) {
    event.respondWith(fetch(asked).then(heard));
  } else if (FILES.includes(url.pathname + url.search)) {
    event.respondWith(fetch(asked).catch(() => caches.match(asked)));
  }
});

// Every message is shown, and none takes another's place: no tag, not silent, and it stays until somebody touches it.
self.addEventListener("push", (event) => {
  let said = {};
  try { said = event.data.json(); } catch { /* shown all the same */ }
  event.waitUntil(self.registration.showNotification(said.title || {{ _("Message from the workshop")|plain }}, {
    body: said.body || {{ _("Open the board.")|plain }},
    icon: "{{ asset('icon-192.png') }}",
    requireInteraction: true,
    vibrate: [400, 200, 400, 200, 400],
    data: { url: said.url || "/" },
  }));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const url = new URL(event.notification.data.url, location.origin);
  event.waitUntil(self.clients.openWindow(url.protocol.startsWith("http") ? url.href : "/"));
});

self.addEventListener("pushsubscriptionchange", (event) => {
  event.waitUntil(self.registration.showNotification({{ _("Alarms no longer reach this browser")|plain }}, {
    body: {{ _("Its subscription has ended. Set it up again: open “Messages to my phone”.")|plain }},
    requireInteraction: true,
    data: { url: "/phone" },
  }));
});
