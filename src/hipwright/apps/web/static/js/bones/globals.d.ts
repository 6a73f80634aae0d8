interface Window {
  htmx: { ajax(verb: string, address: string, where: { target: Element; swap: string }): Promise<void> };
}
