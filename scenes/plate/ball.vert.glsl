in vec2 corner;
in vec4 box;  // left, top, right, bottom in pixels
in vec4 sphere;
in vec3 tint;
in vec4 outline;  // centre in pixels, and with spread.xyz the symmetric matrix of the ellipse
in vec3 more;
in vec4 edge;  // colour of the rim and its width in pixels
out vec4 s;
out vec3 t;
out vec4 o;
out vec3 m;
out vec4 rim;
uniform vec2 size_px;
void main() {
    s = sphere;
    t = tint;
    o = outline;
    m = more;
    rim = edge;
    vec2 px = mix(box.xy, box.zw, corner * 0.5 + 0.5);
    gl_Position = vec4(2.0 * px / size_px - 1.0, 0.0, 1.0);
}
