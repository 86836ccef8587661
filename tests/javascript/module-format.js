// A loader hook: the pages' scripts are ES modules. Node would need a package.json beside
// them to know that, and would publish it with the static files.

export async function load(url, context, nextLoad) {
  const isPageModule = url.includes("/static/") && url.endsWith(".js");
  return nextLoad(url, isPageModule ? { ...context, format: "module" } : context);
}
