// "Let this browser ring": asks the browser for a subscription (Push API), and hands it to the service with the form.
"use strict";
(() => {
  const form = document.querySelector("form[data-push]");
  if (!form) return;
  const button = form.querySelector("button"), told = document.getElementById("push-problem");
  const words = window.words;
  const say = (text) => { told.textContent = text; told.hidden = !text; };
  const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
  const text = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
  const there = "serviceWorker" in navigator && "PushManager" in window && "Notification" in window;
  if (!there) {
    button.disabled = true;
    say(words.say("push-needs-home-screen"));
    return;
  }
  navigator.serviceWorker.register("/service-worker.js")
    .catch(() => say(words.say("push-no-background")));

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    button.disabled = true;
    say("");
    try {
      if (await Notification.requestPermission() !== "granted") {
        say(words.say("push-not-allowed"));
        return;
      }
      const worker = await navigator.serviceWorker.ready;
      const before = await worker.pushManager.getSubscription();
      if (before && text(before.options.applicationServerKey || new ArrayBuffer(0)) !== form.dataset.push) {
        await before.unsubscribe();
      }
      const taken = await worker.pushManager.subscribe({
        userVisibleOnly: true, applicationServerKey: bytes(form.dataset.push),
      });
      form.elements.endpoint.value = taken.endpoint;
      form.elements.p256dh.value = text(taken.getKey("p256dh"));
      form.elements.auth.value = text(taken.getKey("auth"));
      form.elements.name.value = words.say(/Mobi/.test(navigator.userAgent) ? "on-a-phone" : "on-a-computer");
      form.submit();
    } catch (error) {
      say(words.say("push-unreachable", { error: error.name }));
    } finally {
      button.disabled = false;
    }
  });
})();
