# The Debian package: `cpack -G DEB` in the build folder. Built twice from the same sources it is the same bytes: times come
# from SOURCE_DATE_EPOCH, or from the newest entry of systemd/package/changelog.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME rillward)
set(CPACK_PACKAGE_VENDOR rillward)
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "finished records and alarms from water loggers' files")
set(CPACK_PACKAGE_DESCRIPTION
"Watches a synced folder into which field crews drop files of submerged water
loggers, of barometric loggers, and of field notes. Pairs water with air
pressure by site and time, corrects, flags, applies rules, writes finished
records to an archive, and sends alarms by webhook and e-mail.")
set(CPACK_PACKAGE_CONTACT "rillward maintainers <rillward@example.org>")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PACKAGE_RELEASE 1)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
# ca-certificates: webhooks and mail over TLS; procps: /bin/kill of the unit's reload; tzdata: clocks of loggers; systemd: the user, the folders, the service.
set(CPACK_DEBIAN_PACKAGE_DEPENDS "ca-certificates, procps, tzdata, systemd | systemd-standalone-sysusers, systemd | systemd-standalone-tmpfiles")
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA
  ${CMAKE_CURRENT_SOURCE_DIR}/systemd/package/postinst
  ${CMAKE_CURRENT_SOURCE_DIR}/systemd/package/prerm
  ${CMAKE_CURRENT_SOURCE_DIR}/systemd/package/postrm)
set(CPACK_PROJECT_CONFIG_FILE ${CMAKE_CURRENT_SOURCE_DIR}/systemd/package/before.cmake)
set(CPACK_PRE_BUILD_SCRIPTS ${CMAKE_CURRENT_SOURCE_DIR}/systemd/package/finish.cmake)
set(CPACK_RILLWARD_PACKAGE_FOLDER ${CMAKE_CURRENT_SOURCE_DIR}/systemd/package)
set(CPACK_VERBATIM_VARIABLES ON)
include(CPack)
