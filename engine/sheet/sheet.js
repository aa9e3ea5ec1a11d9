// What the sheet does beside its 3D views: unfold what an address names,
// unfold everything for printing, and let the lists of spots fly the view.
(function () {
  "use strict";
  function unfold() {
    var at = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    for (var e = at; e; e = e.parentElement) if (e.tagName === "DETAILS") e.open = true;
    if (at) at.scrollIntoView();
  }
  addEventListener("hashchange", unfold);
  unfold();
  var folded = [];
  addEventListener("beforeprint", function () {
    folded = [].slice.call(document.querySelectorAll("details:not([open])"));
    folded.forEach(function (d) { d.open = true; });
  });
  addEventListener("afterprint", function () { folded.forEach(function (d) { d.open = false; }); });

  document.querySelectorAll(".pictures .picture:not(.both)").forEach(function (figure) {
    var b = document.createElement("button");
    b.type = "button"; b.className = "grow"; b.textContent = "larger";
    b.setAttribute("aria-pressed", false);
    b.setAttribute("aria-label", "larger: " + figure.querySelector("figcaption").textContent);
    b.onclick = function () { b.setAttribute("aria-pressed", figure.classList.toggle("large")); };
    figure.querySelector("figcaption").appendChild(b);
  });

  // each view is made when it is about to be seen: a page of five parts opens at once
  function viewOf(figure) {
    var view;
    function make() {
      if (view !== undefined) return view;
      view = null;
      try {
        view = layetteViewer(figure.querySelector(".stage"), JSON.parse(figure.querySelector("script").textContent));
      } catch (err) {
        figure.querySelector(".stage").textContent = "The 3D view is not possible here (" + err.message + "). The pictures below show the same.";
      }
      return view;
    }
    if ("IntersectionObserver" in window) {
      var watch = new IntersectionObserver(function (seen) {
        if (seen.some(function (s) { return s.isIntersecting; })) { watch.disconnect(); make(); }
      }, { rootMargin: "300px" });
      watch.observe(figure);
    } else make();
    return { figure: figure, make: make };
  }
  document.querySelectorAll(".stage-box").forEach(function (stage) {
    var views = [].map.call(stage.querySelectorAll("[data-solid]"), viewOf);
    if (!views.length) return;
    stage.querySelectorAll("[data-spot]").forEach(function (item) {
      var b = document.createElement("button");
      b.type = "button"; b.className = "fly"; b.textContent = "show in 3D";
      b.setAttribute("aria-label", "show spot " + item.dataset.spot + " in the 3D view");
      b.onclick = function () { // on the surface that it lies on
        views.some(function (v) {
          var view = v.make(), flew = view && view.fly(item.querySelector(".what").textContent, +item.dataset.spot);
          if (flew) v.figure.scrollIntoView({ block: "start" });
          return flew;
        });
      };
      item.insertBefore(b, item.firstChild);
    });
  });
})();
